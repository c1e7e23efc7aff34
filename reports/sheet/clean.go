package sheet

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"bandproof/reports/record"
)

// clean makes a text fit for print without losing what it holds: control
// characters, marks that change the direction of writing and other invisible
// characters, which could make a sheet read otherwise than its record, are
// spelled out as [U+001B]; bytes that are no text as [x9F]. Line feeds stay.
func clean(s string) string { return record.SpellOut(s, odd) }

// odd tells whether r must not be printed as it is. U+FFFD is among them
// because it also stands for bytes that are no text.
func odd(r rune) bool {
	if r == '\n' || r >= ' ' && r < 0x7f {
		return false
	}
	return r == utf8.RuneError || unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp) ||
		r&0xfffe == 0xfffe || r >= 0xfdd0 && r <= 0xfdef
}

// oneLine is clean without line feeds.
func oneLine(s string) string { return strings.ReplaceAll(clean(s), "\n", " ") }

// clean goes over every text of the sheet.
func (d *document) clean() {
	for _, s := range append(pointers(d.IDs), &d.Title, &d.Records, &d.Fingerprint, &d.Subject, &d.Author, &d.Program) {
		*s = oneLine(*s)
	}
	for _, s := range d.Head.texts() {
		*s = clean(*s)
	}
	for _, b := range d.Blocks {
		for _, s := range b.texts() {
			*s = clean(*s)
		}
	}
}
