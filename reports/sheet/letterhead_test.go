package sheet

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/drivertest/peer"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// logos are pictures of the kinds that the PDF library can't take as they are,
// and of shapes that do not fit the room.
func logos(t testing.TB) map[string][]byte {
	t.Helper()
	list := map[string][]byte{}
	files, err := filepath.Glob("testdata/logos/*")
	require.NoError(t, err)
	require.Len(t, files, 4)
	for _, f := range files {
		list[filepath.Base(f)], err = os.ReadFile(f)
		require.NoError(t, err)
	}
	draw := func(img image.Image) []byte {
		var b bytes.Buffer
		require.NoError(t, png.Encode(&b, img))
		return b.Bytes()
	}
	deep := image.NewNRGBA64(image.Rect(0, 0, 300, 50))
	for k := range 300 {
		deep.SetNRGBA64(k, k%50, color.NRGBA64{0xffff, 0x1234, 0, uint16(k * 200)})
	}
	list["16 bits with transparency"] = draw(deep)
	list["one dot"] = draw(image.NewGray(image.Rect(0, 0, 1, 1)))
	list["very wide"] = draw(image.NewGray16(image.Rect(0, 0, 4000, 2)))
	list["very tall"] = draw(image.NewGray16(image.Rect(0, 0, 2, 4000)))
	return list
}

func withLogo(t testing.TB, r record.Record, text []byte) (*Sheet, record.Picture) {
	t.Helper()
	p, err := record.NewPicture("logo.png", text)
	require.NoError(t, err)
	r.Logo = &p.Logo
	s, err := sheetOf(t, r).Logo(p)
	require.NoError(t, err)
	return s, p
}

// Every kind of picture stands once on the first page, as pdfimages (poppler)
// sees it, keeps its proportions and its room, and is in the HTML as PNG.
func TestLogoOfAnyKind(t *testing.T) {
	r := fixture(t, runner.AsFound)
	r.Run.Points, r.Run.Inputs = r.Run.Points[:1], r.Run.Inputs[:1]
	for name, text := range logos(t) {
		s, p := withLogo(t, r, text)
		img, err := p.Image()
		require.NoError(t, err, name)
		w, h := s.logo.fitted()
		require.LessOrEqual(t, w, logoRoomWidth+1e-9, name)
		require.LessOrEqual(t, h, logoRoomHeight+1e-9, name)
		if name != "one dot" && !strings.HasPrefix(name, "very") { // these end at one dot
			require.InEpsilon(t, float64(img.Bounds().Dx())/float64(img.Bounds().Dy()), w/h, 0.02, name)
		}
		pdf := pdfOf(t, s)
		rows := pdfimages(t, pdf)
		require.NotEmpty(t, rows, name)
		require.Equal(t, []string{"1", "image"}, []string{rows[0][0], rows[0][2]}, name)
		for _, row := range rows[1:] { // its transparency
			require.Equal(t, []string{"1", "smask"}, []string{row[0], row[2]}, name)
		}
		require.LessOrEqual(t, len(rows), 2, name)
		require.Contains(t, htmlOf(t, s), `<img src="data:image/png;base64,`, name)
		var book bytes.Buffer
		require.NoError(t, s.XLSX(&book), name)
		require.Contains(t, book.String(), "xl/media/image", name)
	}
}

func pdfimages(t *testing.T, pdf []byte) (rows [][]string) {
	t.Helper()
	tool := peer.Program(t, "pdfimages", "poppler-utils", "the logo in the PDF was not looked at")
	file := filepath.Join(t.TempDir(), "x.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o644))
	out, err := exec.Command(tool, "-list", file).CombinedOutput()
	require.NoError(t, err, string(out))
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.GreaterOrEqual(t, len(lines), 2, string(out))
	for _, l := range lines[2:] {
		rows = append(rows, strings.Fields(l))
	}
	return rows
}

// A picture that the record does not name is none of its sheet's.
func TestLogoOfAnotherRecord(t *testing.T) {
	r := fixture(t, runner.AsFound)
	_, p := withLogo(t, r, logos(t)["palette.png"])
	_, err := sheetOf(t, r).Logo(p)
	require.ErrorIs(t, err, record.ErrLogo)
	require.ErrorContains(t, err, "names no logo")
	r.Logo = &record.Logo{File: "other.png", SHA256: strings.Repeat("0", 64), Media: "image/png"}
	_, err = sheetOf(t, r).Logo(p)
	require.ErrorContains(t, err, "other.png: is not the picture that the record names")
}

// A letterhead that would fill pages leaves the rest of the sheet whole.
func TestLetterheadOfAnyLength(t *testing.T) {
	r := fixture(t, runner.AsFound)
	for _, text := range awkward {
		r.Laboratory.Name, r.Laboratory.Address = text, awkward
		s, _ := withLogo(t, r, logos(t)["palette.png"])
		pages := pdftotext(t, pdfOf(t, s))
		require.Contains(t, strings.Join(pages, ""), s.say("End of data sheet"))
	}
	require.Equal(t, awkward, r.Laboratory.Address, "the record stays as it was")
}
