package profile_test

import (
	"testing"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// A gate that the counter really has reads the same each time; one that was
// garbled on its way, there or back, does not.
func TestGateThatReadsDifferentlyIsSetOnceMore(t *testing.T) {
	for _, row := range []struct {
		name  string
		reads []string
		want  string // "": refused
	}{
		{"as asked", []string{"0.01"}, "10.000 ms"},
		{"the counter rounds", []string{"0.02", "0.02"}, "20.00 ms"},
		{"garbled once", []string{"0.91", "0.01"}, "10.000 ms"},
		{"never the same", []string{"0.91", "0.51"}, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, f := openCounter(t, counterText, s)
			reads := row.reads
			f.far = func(message string) []answer {
				if message == "APER?" && len(reads) > 0 {
					head := reads[0]
					reads = reads[1:]
					return []answer{{text: head}}
				}
				return s.far(message)
			}
			got, err := c.SetGate(t.Context(), gate10ms)
			require.Empty(t, reads)
			if row.want == "" {
				require.ErrorIs(t, err, drivers.ErrUnreadable)
				require.ErrorContains(t, err, "the gate reads 910 ms and then 510 ms")
				_, err = c.Read(t.Context())
				require.ErrorContains(t, err, "no gate time is set")
				return
			}
			require.NoError(t, err)
			require.InDelta(t, quantity.MustParse[quantity.Second](row.want).Float(), got.Float(), 1e-12)
		})
	}
}

// A counter that can give its last reading once more tells whether it is still
// measuring: a question or an answer that was lost is the link's fault.
func TestSilenceIsTheUnitsOnlyIfItHasNoReading(t *testing.T) {
	text := edit(t, counterText, `query = "READ?"`, "query = \"READ?\"\nagain = \"FETC?\"")
	const stale = `-230,"Data corrupt or stale"`
	for _, row := range []struct {
		name     string
		had      bool   // a reading came before
		fetch    string // "": no answer
		complain string // to the error queue
		comes    bool   // the second question is answered
		question int    // how often it is asked for a reading
		want     string // mark, reading or error
	}{
		{"still measuring", true, "", stale, false, 1, string(drivers.NoReply)},
		{"still measuring, or never begun", false, "", stale, false, 2, string(drivers.NoReply)},
		{"still measuring, or the second question was lost too", true, "", "", false, 2, string(drivers.NoReply)},
		{"the second question was garbled too", true, "", `-113,"Undefined header"`, true, 2, "5E6"},
		{"never begun, as the second question shows", false, "", stale, true, 2, "5E6"},
		{"the answer was lost", true, "10000000.0", "", false, 1, "question or answer was lost on the way"},
		{"the question was lost", true, "9999.0", "", false, 1, "question or answer was lost on the way"},
		{"it says that it has none", true, "9.91E37", "", false, 1, string(drivers.NoReply)},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, f := openCounter(t, text, s)
			s.set("FETC?", "10000000.0")
			if row.had {
				_, err := c.Read(t.Context())
				require.NoError(t, err)
			}
			asked, complaints := 0, 0
			f.far = func(message string) []answer {
				switch {
				case message == "READ?":
					asked++
					if row.comes && asked == 2 {
						s.set("FETC?", "5E6")
						return []answer{{text: "5E6"}}
					}
					return nil
				case message == "FETC?" && (asked == 1 || asked == 2 && !row.comes):
					if row.fetch == "" {
						if row.complain != "" {
							complaints++
						}
						return nil
					}
					return []answer{{text: row.fetch}}
				}
				if message == "ERR?" && complaints > 0 {
					complaints--
					return []answer{{text: row.complain}}
				}
				return s.far(message)
			}
			got, err := c.Read(t.Context())
			require.Equal(t, row.question, asked)
			switch {
			case row.want == string(drivers.NoReply):
				require.NoError(t, err)
				require.Equal(t, drivers.NoReply, got.Mark)
			case row.comes:
				require.NoError(t, err)
				require.Equal(t, row.want, got.Text)
			default:
				require.ErrorIs(t, err, link.ErrTimeout, "so that it is tried again")
				require.ErrorContains(t, err, row.want)
			}
		})
	}
}
