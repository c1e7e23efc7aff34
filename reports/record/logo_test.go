package record_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

func aPNG(t testing.TB, width, height int) []byte {
	t.Helper()
	img := image.NewNRGBA64(image.Rect(0, 0, width, height))
	for x := range width {
		img.SetNRGBA64(x, x%height, color.NRGBA64{R: uint16(x * 257), A: 0xffff})
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

func TestReadLogo(t *testing.T) {
	folder := t.TempDir()
	write := func(name string, text []byte) string {
		file := filepath.Join(folder, name)
		require.NoError(t, os.WriteFile(file, text, 0o644))
		return file
	}
	whole := aPNG(t, 60, 20)
	var photo bytes.Buffer
	require.NoError(t, jpeg.Encode(&photo, image.NewGray(image.Rect(0, 0, 8, 8)), nil))
	for _, c := range []struct{ name, file, media, wrong string }{
		{"png of 16 bits", write("a.png", whole), "image/png", ""},
		{"jpeg under another name", write("b.png", photo.Bytes()), "image/jpeg", ""},
		{"missing", filepath.Join(folder, "none.png"), "", "none.png: no such file"},
		{"a folder", folder, "", "is not a file; expected a PNG or JPEG picture"},
		{"another kind", write("c.png", []byte("GIF89a and so on")), "", "c.png: is no PNG or JPEG picture"},
		{"a page", write("d.png", []byte("<svg onload=alert(1)></svg>")), "", "is no PNG or JPEG picture"},
		{"empty", write("e.png", nil), "", "is no PNG or JPEG picture"},
		{"cut off", write("f.png", whole[:len(whole)*2/3]), "", "f.png: is damaged"},
		{"one byte changed", write("g.png", flipped(whole, len(whole)/2)), "", "is damaged"},
		{"too many pixels", write("h.png", aPNG(t, 4001, 1)), "", "has 4001 × 1 pixels; expected 1 to 4000 each way"},
		{"too large", write("i.png", append(bytes.Clone(whole), make([]byte, record.MostLogoBytes)...)), "", "is larger than 1 MiB"},
	} {
		p, err := record.ReadLogo(c.file)
		if c.wrong != "" {
			require.ErrorIs(t, err, record.ErrLogo, c.name)
			require.ErrorContains(t, err, c.wrong, c.name)
			require.Equal(t, 1, strings.Count(err.Error(), filepath.Base(c.file)), "%s: %v", c.name, err)
			continue
		}
		require.NoError(t, err, c.name)
		require.Equal(t, c.media, p.Media, c.name)
		require.Equal(t, record.Hash(p.Bytes), p.SHA256, c.name)
		_, err = p.Image()
		require.NoError(t, err, c.name)
		p.Bytes = flipped(p.Bytes, 3)
		_, err = p.Image()
		require.ErrorContains(t, err, "is not the picture that the record names", c.name)
	}
}

func flipped(text []byte, at int) []byte {
	text = bytes.Clone(text)
	text[at] ^= 1
	return text
}

// FuzzLogo: no bytes make the reader of logos panic, or take a picture that is
// larger than stated.
func FuzzLogo(f *testing.F) {
	whole := aPNG(f, 30, 10)
	f.Add(whole)
	f.Add(whole[:50])
	f.Add([]byte("\xff\xd8\xff\xe0\x00\x10JFIF"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := record.NewPicture("x", text)
		if err != nil {
			require.ErrorIs(t, err, record.ErrLogo)
			return
		}
		img, err := p.Image()
		require.NoError(t, err)
		require.LessOrEqual(t, max(img.Bounds().Dx(), img.Bounds().Dy()), record.MostLogoPixels)
	})
}
