package sheet

import (
	"cmp"
	"fmt"
	"io"
	"time"

	"github.com/xuri/excelize/v2"
)

// XLSX writes the sheet as a workbook (ISO/IEC 29500, .xlsx): worksheets of
// running content in reading order, and a worksheet of its own for every table
// of points and every other long one, so that its headings stay in sight, are
// repeated in print and can be filtered by.
//
// A cell is a number only where a double holds what is printed exactly as
// printed, which 15 significant digits are (IEEE 754; a spreadsheet keeps no
// more); all else is text, and text is never a formula. The same records give
// the same bytes.
func (s *Sheet) XLSX(w io.Writer) error {
	if err := s.build().xlsx(w); err != nil {
		return fmt.Errorf("write data sheet as XLSX: %w", err)
	}
	return nil
}

// book is a workbook that is being written. flow is the worksheet that running
// content goes to.
type book struct {
	file   *excelize.File
	doc    *document
	faces  faceSet
	looks  map[look]int
	names  tabNames
	sheets int
	flow   *flow
}

func (d *document) xlsx(w io.Writer) (err error) {
	b := &book{file: excelize.NewFile(), doc: d, looks: map[look]int{}, names: tabNames{}}
	defer func() {
		if e := b.file.Close(); err == nil { // removes its temporary files
			err = e
		}
	}()
	if b.faces, err = newFaces(); err != nil {
		return err
	}
	if err := b.properties(); err != nil {
		return err
	}
	if err := b.content(); err != nil {
		return err
	}
	out := &orderedZip{out: w}
	b.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return out })
	_, err = b.file.WriteToBuffer() // goes to out, the buffer stays empty
	return err
}

// content goes over the blocks; headings that stand apart begin a worksheet.
func (b *book) content() error {
	if err := b.newFlow(b.doc.Title); err != nil {
		return err
	}
	b.file.SetActiveSheet(0) // later it would read all worksheets back
	b.flow.title(b.doc)
	for _, x := range b.doc.Blocks {
		if h, ok := x.(*heading); ok && h.Apart {
			if err := b.flow.write(); err != nil {
				return err
			}
			if err := b.newFlow(cmp.Or(h.Tab, h.Text)); err != nil {
				return err
			}
		}
		if err := b.block(x); err != nil {
			return err
		}
	}
	b.flow.end(b.doc.End)
	return b.flow.write()
}

func (b *book) block(x block) error {
	f := b.flow
	switch x := x.(type) {
	case *heading:
		f.heading(x)
	case *paragraph:
		f.paragraph(x)
	case *notice:
		f.notice(x)
	case *grid:
		f.grid(x)
	case *notes:
		f.notes(x)
	case *signatures:
		f.signatures(x)
	case *chart:
		return f.picture(x.plot, chartHeight, x.Caption)
	case *graph:
		return f.picture(x.plot, graphHeight, x.Caption)
	case *table:
		if x.Tab == "" && len(x.Rows) <= longTable && len(x.Columns) <= flowColumns/2 {
			f.table(x)
			return nil
		}
		return b.table(x)
	}
	return nil
}

// longTable is how many rows a table in running content may have.
const longTable = 40

// properties are the document's own: nothing of the machine it was written on.
func (b *book) properties() error {
	when := b.doc.Created.UTC()
	if when.IsZero() {
		when = time.Unix(0, 0).UTC()
	}
	stamp := when.Format(time.RFC3339)
	if err := b.file.SetDocProps(&excelize.DocProperties{Title: b.doc.Title, Subject: b.doc.Subject, Creator: b.doc.Author, LastModifiedBy: b.doc.Author,
		Identifier: join(", ", b.doc.IDs...), Created: stamp, Modified: stamp}); err != nil {
		return err
	}
	if err := b.file.SetAppProps(&excelize.AppProperties{Application: b.doc.Program, Company: b.doc.Author}); err != nil {
		return err
	}
	return b.file.SetDefaultFont(xlsxFont)
}

// newSheet adds a worksheet under a name that may stand on a tab; one that fits is
// made as wide as the paper in print.
func (b *book) newSheet(wanted string, fit bool) (string, error) {
	name := b.names.next(wanted)
	var err error
	if b.sheets == 0 {
		err = b.file.SetSheetName(b.file.GetSheetName(0), name)
	} else {
		_, err = b.file.NewSheet(name)
	}
	b.sheets++
	if err != nil {
		return "", err
	}
	return name, b.page(name, fit)
}
