//go:build linux

package kernel

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bandproof/drivers/drivertest/peer"
)

// compiled runs a C program with the headers of this system.
func compiled(t *testing.T, program string) string {
	t.Helper()
	compiler := peer.Program(t, "cc", "gcc libc6-dev", "the numbers were not held against a C compiler")
	dir := t.TempDir()
	source, binary := filepath.Join(dir, "p.c"), filepath.Join(dir, "p")
	if err := os.WriteFile(source, []byte(program), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(compiler, "-o", binary, source).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	out, err := exec.Command(binary).Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// The numbers are those of the header that the system carries (Debian:
// linux-libc-dev).
func TestUSBTMCNumbersAreThoseOfTheHeader(t *testing.T) {
	if _, err := os.Stat("/usr/include/linux/usb/tmc.h"); err != nil {
		peer.Missing(t, "linux/usb/tmc.h is not there; install with: apt-get install linux-libc-dev", "the numbers were not held against a C compiler")
	}
	names := map[string]uint32{
		"USBTMC_IOCTL_CLEAR": TMCClear, "USBTMC_IOCTL_ABORT_BULK_OUT": TMCAbortBulkOut, "USBTMC_IOCTL_ABORT_BULK_IN": TMCAbortBulkIn,
		"USBTMC_IOCTL_CLEAR_OUT_HALT": TMCClearOutHalt, "USBTMC_IOCTL_CLEAR_IN_HALT": TMCClearInHalt,
		"USBTMC_IOCTL_GET_TIMEOUT": TMCGetTimeout, "USBTMC_IOCTL_SET_TIMEOUT": TMCSetTimeout, "USBTMC_IOCTL_EOM_ENABLE": TMCEOMEnable,
		"USBTMC_IOCTL_CONFIG_TERMCHAR": TMCConfigTermChar, "USBTMC_IOCTL_API_VERSION": TMCAPIVersion,
		"USBTMC488_IOCTL_GET_CAPS": TMCGetCaps, "USBTMC488_IOCTL_READ_STB": TMCReadSTB, "USBTMC488_IOCTL_REN_CONTROL": TMCRENControl,
		"USBTMC488_IOCTL_GOTO_LOCAL": TMCGotoLocal, "USBTMC488_IOCTL_LOCAL_LOCKOUT": TMCLocalLockout, "USBTMC488_IOCTL_TRIGGER": TMCTrigger,
		"USBTMC_IOCTL_MSG_IN_ATTR": TMCMsgInAttr, "USBTMC_IOCTL_AUTO_ABORT": TMCAutoAbort,
	}
	agree(t, "#include <sys/ioctl.h>\n#include <linux/usb/tmc.h>\n", names)
}

// The header of linux-gpib is in no package of this system: its structures
// are restated here field by field, so that a C compiler says how large they
// are and what numbers follow.
func TestGPIBNumbersAreThoseOfACompiler(t *testing.T) {
	const structures = `#include <linux/ioctl.h>
#include <stdint.h>
#include <stddef.h>
struct transfer { uint64_t buffer; unsigned requested, completed; int end, handle; };
struct serial_poll { unsigned pad; int sad; uint8_t status; };
struct eos { int eos, flags; };
struct board_info { unsigned pad; int sad, ppoll, autopolling, is_system_controller; unsigned t1; unsigned ist : 1; unsigned no_7_bit_eos : 1; };
`
	agree(t, structures, map[string]uint32{
		"_IOWR(160, 100, struct transfer)": GPIBRead, "_IOWR(160, 101, struct transfer)": GPIBWrite, "_IOWR(160, 102, struct transfer)": GPIBCommand,
		"_IOW(160, 9, unsigned)": GPIBClear, "_IOW(160, 10, int)": GPIBRemote,
		"_IOW(160, 17, unsigned)": GPIBTimeout, "_IOWR(160, 18, struct serial_poll)": GPIBSerialPoll,
		"_IOW(160, 19, struct eos)": GPIBEOS, "_IOW(160, 26, int)": GPIBLock, "_IOR(160, 29, struct board_info)": GPIBBoardInfo,
		"offsetof(struct transfer, requested)": 8, "offsetof(struct transfer, end)": 16, "offsetof(struct transfer, handle)": 20,
		"offsetof(struct serial_poll, status)": 8, "offsetof(struct board_info, is_system_controller)": 16,
	})
}

// agree compares values of C expressions with ours.
func agree(t *testing.T, head string, want map[string]uint32) {
	t.Helper()
	var names []string
	for name := range want {
		names = append(names, name)
	}
	slices.Sort(names)
	var program strings.Builder
	program.WriteString("#include <stdio.h>\n" + head + "int main(void) {\n")
	for _, name := range names {
		fmt.Fprintf(&program, "printf(\"%%u\\n\", (unsigned)(%s));\n", name)
	}
	program.WriteString("return 0; }\n")
	got := strings.Fields(compiled(t, program.String()))
	if len(got) != len(names) {
		t.Fatalf("%d values for %d names", len(got), len(names))
	}
	for i, name := range names {
		if got[i] != fmt.Sprint(want[name]) {
			t.Errorf("%s is %s; ours is %d", name, got[i], want[name])
		}
	}
}

func FuzzArguments(f *testing.F) {
	f.Add(Transfer{Requested: 10, End: true, Handle: 3}.Append(nil))
	f.Fuzz(func(t *testing.T, p []byte) {
		if a, ok := ParseTransfer(p); ok {
			if b, ok := ParseTransfer(a.Append(nil)); !ok || a != b {
				t.Errorf("%+v becomes %+v", a, b)
			}
		}
		if a, ok := ParseSerialPoll(p); ok {
			if b, ok := ParseSerialPoll(a.Append(nil)); !ok || a != b {
				t.Errorf("%+v becomes %+v", a, b)
			}
		}
		if a, ok := ParseEOS(p); ok && !bytes.Equal(a.Append(nil), p[:eosSize]) {
			t.Errorf("% x becomes %+v", p, a)
		}
		if a, ok := ParseBoardInfo(p); ok {
			if b, ok := ParseBoardInfo(a.Append(nil)); !ok || a != b {
				t.Errorf("%+v becomes %+v", a, b)
			}
		}
	})
}
