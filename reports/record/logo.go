package record

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // kinds of pictures that a logo may be
	_ "image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
)

// What a logo may be at most: enough for a line of 10 cm at 600 dots per inch,
// and little enough that a picture made to exhaust memory does not.
const (
	MostLogoBytes  = 1 << 20
	MostLogoPixels = 4000 // either side
)

// ErrLogo is wrapped by whatever keeps a logo from being printed; nothing else
// is lost by it.
var ErrLogo = errors.New("logo")

// Picture is a logo with its bytes, which a record only names.
type Picture struct {
	Logo
	Bytes []byte
}

// ReadLogo reads a PNG or JPEG file. The error names the file and what would be
// right.
func ReadLogo(file string) (Picture, error) {
	wrong := func(err error) (Picture, error) { return Picture{}, fmt.Errorf("%w %s: %w", ErrLogo, file, err) }
	info, err := os.Stat(file)
	if err != nil {
		return wrong(unwrapped(err))
	}
	if !info.Mode().IsRegular() { // a device or pipe might never end
		return wrong(errors.New("is not a file; expected a PNG or JPEG picture"))
	}
	f, err := os.Open(file)
	if err != nil {
		return wrong(unwrapped(err))
	}
	defer func() { _ = f.Close() }() // read only
	text, err := io.ReadAll(io.LimitReader(f, MostLogoBytes+1))
	if err != nil {
		return wrong(unwrapped(err))
	}
	p, err := newPicture(filepath.Base(file), text)
	if err != nil {
		return wrong(err)
	}
	return p, nil
}

// unwrapped leaves out the name of the file, which the message has already.
func unwrapped(err error) error {
	if inner := errors.Unwrap(err); inner != nil {
		return inner
	}
	return err
}

// NewPicture takes the bytes of a PNG or JPEG picture and proves that they can be
// drawn.
func NewPicture(file string, text []byte) (Picture, error) {
	p, err := newPicture(file, text)
	if err != nil {
		return Picture{}, fmt.Errorf("%w %s: %w", ErrLogo, file, err)
	}
	return p, nil
}

func newPicture(file string, text []byte) (Picture, error) {
	_, kind, err := decode(text)
	return Picture{Logo{File: file, SHA256: Hash(text), Media: "image/" + kind}, text}, err
}

// Image decodes the picture, after a look at its hash.
func (p Picture) Image() (image.Image, error) {
	if sum := Hash(p.Bytes); sum != p.SHA256 {
		return nil, fmt.Errorf("%w %s: is not the picture that the record names: its SHA-256 is %s, that in the record %s", ErrLogo, p.File, sum, p.SHA256)
	}
	img, _, err := decode(p.Bytes)
	if err != nil {
		return nil, fmt.Errorf("%w %s: %w", ErrLogo, p.File, err)
	}
	return img, nil
}

func decode(text []byte) (image.Image, string, error) {
	if len(text) > MostLogoBytes {
		return nil, "", errors.New("is larger than 1 MiB; save it smaller")
	}
	size, kind, err := image.DecodeConfig(bytes.NewReader(text))
	if err != nil || !slices.Contains([]string{"png", "jpeg"}, kind) {
		return nil, "", errors.New("is no PNG or JPEG picture, or its beginning is damaged")
	}
	if size.Width > MostLogoPixels || size.Height > MostLogoPixels || size.Width < 1 || size.Height < 1 {
		return nil, "", fmt.Errorf("has %d × %d pixels; expected 1 to %d each way", size.Width, size.Height, MostLogoPixels)
	}
	img, _, err := image.Decode(bytes.NewReader(text))
	if err != nil {
		return nil, "", fmt.Errorf("is damaged: %w", err)
	}
	return img, kind, nil
}
