package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/xml"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"
	"io/fs"
	"slices"
	"strings"
)

// orderedZip packs the parts of a workbook in the order of their names and
// without times, so that the same parts always give the same bytes. Each part is
// compressed as it comes; nothing is written before Close.
type orderedZip struct {
	out   io.Writer
	parts []*packed
	types bytes.Buffer // the list of content types as it came
}

// packed is one part, compressed.
type packed struct {
	name string
	data bytes.Buffer
	flat *flate.Writer
	sum  hash.Hash32
	size uint64
}

// Create implements excelize.ZipWriter.
func (z *orderedZip) Create(name string) (io.Writer, error) {
	if name == contentTypes {
		return &z.types, nil
	}
	return z.pack(name)
}

func (z *orderedZip) pack(name string) (io.Writer, error) {
	p := &packed{name: name, sum: crc32.NewIEEE()}
	var err error
	if p.flat, err = flate.NewWriter(&p.data, flate.DefaultCompression); err != nil {
		return nil, err
	}
	if err := z.close(); err != nil { // the part before
		return nil, err
	}
	z.parts = append(z.parts, p)
	return p, nil
}

func (p *packed) Write(b []byte) (int, error) {
	p.sum.Write(b)
	p.size += uint64(len(b))
	return p.flat.Write(b)
}

// close ends the part that was begun last.
func (z *orderedZip) close() error {
	if len(z.parts) == 0 {
		return nil
	}
	return z.parts[len(z.parts)-1].flat.Close()
}

// AddFS implements excelize.ZipWriter; a workbook has no use for it.
func (z *orderedZip) AddFS(fs.FS) error { return errors.New("a workbook takes no folder") }

// Close implements excelize.ZipWriter.
func (z *orderedZip) Close() error {
	if err := z.packTypes(); err != nil {
		return err
	}
	if err := z.close(); err != nil {
		return err
	}
	slices.SortStableFunc(z.parts, func(a, b *packed) int { return strings.Compare(partRank(a.name), partRank(b.name)) })
	w := zip.NewWriter(z.out)
	for _, p := range z.parts {
		part, err := w.CreateRaw(&zip.FileHeader{Name: p.name, Method: zip.Deflate, CRC32: p.sum.Sum32(), CompressedSize64: uint64(p.data.Len()), UncompressedSize64: p.size})
		if err != nil {
			return fmt.Errorf("part %s: %w", p.name, err)
		}
		if _, err := p.data.WriteTo(part); err != nil {
			return fmt.Errorf("part %s: %w", p.name, err)
		}
	}
	return w.Close()
}

// contentTypes names the part that lists the types of all parts (ISO/IEC
// 29500-2, 10.1.2).
const contentTypes = "[Content_Types].xml"

// packTypes puts the list of content types in order; the library's comes from a
// map.
func (z *orderedZip) packTypes() error {
	type entry struct {
		Extension string `xml:"Extension,attr,omitempty"`
		Part      string `xml:"PartName,attr,omitempty"`
		Type      string `xml:"ContentType,attr"`
	}
	var list struct {
		XMLName   xml.Name `xml:"http://schemas.openxmlformats.org/package/2006/content-types Types"`
		Defaults  []entry  `xml:"Default"`
		Overrides []entry  `xml:"Override"`
	}
	if err := xml.Unmarshal(z.types.Bytes(), &list); err != nil {
		return fmt.Errorf("list of content types: %w", err)
	}
	slices.SortFunc(list.Defaults, func(a, b entry) int { return strings.Compare(a.Extension, b.Extension) })
	slices.SortFunc(list.Overrides, func(a, b entry) int { return strings.Compare(a.Part, b.Part) })
	w, err := z.pack(contentTypes)
	if err != nil {
		return err
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	return xml.NewEncoder(w).Encode(list)
}

// partRank puts the list of content types first, where readers of streams (and
// the file command) look for it.
func partRank(name string) string {
	if name == contentTypes {
		return ""
	}
	return name
}
