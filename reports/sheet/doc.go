// Package sheet lays a record out for people: the data sheet. A record becomes
// one layout model (title, grids, statements, tables, charts, notes: model.go),
// and each writer puts that same model into its format, so that every format
// says the same in the same words. Written so far: PDF, HTML, XLSX, plain text
// and CSV.
//
// Most callers need [New] and then [Sheet.PDF], [Sheet.HTML], [Sheet.XLSX],
// [Sheet.Text] or [Sheet.CSV].
//
// What is right or wrong with a unit is not decided here: verdicts and
// statements come from the record and are compared unrounded; this package only
// rounds for print. Where records live is the business of reports/store.
package sheet
