package record

import (
	"cmp"
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Kept is a record as it was found where it is kept.
type Kept struct {
	Sealed
	// Name is the file, or the id by which it is kept.
	Name string
	// Chain and Number are the place in which it is kept; "" where there is none.
	Chain  string
	Number int
	// Index is what stands beside the record, by name, to find it by; it must be
	// what the record says, written as Filed writes it. nil where there is none.
	Index map[string]string
	Filed func(string) string
	// Beside compares whatever else stands beside the record with the record and
	// says what does not fit; nil where there is nothing.
	Beside func(Record) []error
	// Damage says why record or seal can't be had as they were kept.
	Damage []error
}

// Examined is a kept record with what is wrong with it by itself.
type Examined struct {
	Kept
	Findings []Finding
	record   Record
	readable bool
	sealGood bool
}

// Examine proves a kept record by itself. It may be called from several
// goroutines at once.
func Examine(k Kept) Examined {
	e := Examined{Kept: k}
	add := func(format string, args ...any) {
		e.Findings = append(e.Findings, Finding{Text: fmt.Sprintf(format, args...)})
	}
	for _, err := range k.Damage {
		add("%v", err)
	}
	whole := k.IsSealed() && k.Seal.Schema != ""
	var r Record
	var err error
	var wrong []Finding
	if whole {
		wrong, r, e.sealGood, err = k.verify()
	} else {
		r, err = k.Record()
	}
	e.record, e.readable = r, err == nil
	switch {
	case whole:
		e.Findings = append(e.Findings, wrong...)
		if k.Index != nil && (k.Chain != k.Seal.Chain || k.Number != k.Seal.Number) {
			add("is kept as number %d of chain %q, but was sealed as number %d of chain %q", k.Number, k.Chain, k.Seal.Number, k.Seal.Chain)
		}
	case len(k.Damage) > 0:
	case err != nil:
		add("%v", err)
	case r.Schema != firstSchema:
		add("has no seal, which every record of schema %q has: it was taken away, or the record was put here from elsewhere", r.Schema)
	case len(k.Signature) > 0 || k.Chain != "" || k.Number != 0:
		add("has no seal, though it has a signature or a place in a chain")
	}
	if e.readable && k.Index != nil {
		e.Findings = append(e.Findings, e.misfiled()...)
	}
	if e.readable && k.Beside != nil {
		for _, err := range k.Beside(r) {
			add("%v", err)
		}
	}
	return e
}

// misfiled compares what stands beside the record with what the record says.
func (e Examined) misfiled() (list []Finding) {
	for _, name := range IndexNames() {
		was := e.record.Index(name)
		if e.Filed != nil {
			was = e.Filed(was)
		}
		is, ok := e.Index[name]
		if ok && is != was {
			list = append(list, Finding{Text: fmt.Sprintf("column %q beside the record is not what the record says", name), Was: fmt.Sprintf("%q", was), Is: fmt.Sprintf("%q", is)})
		}
	}
	return list
}

// IndexNames are the names under which a record is filed.
func IndexNames() []string {
	return []string{"id", "kind", "created", "asset", "serial", "customer", "model", "statement", "follows", "corrects"}
}

// Index is what a record is filed under.
func (r Record) Index(name string) string {
	switch name {
	case "id":
		return r.ID
	case "kind":
		return string(r.Run.Kind)
	case "created":
		return r.Created.UTC().Format("2006-01-02T15:04:05.000000000Z")
	case "asset":
		return r.Job.Asset
	case "serial":
		return r.Job.Serial
	case "customer":
		return r.Job.Customer
	case "model":
		return r.Model
	case "statement":
		return string(r.Run.Statement)
	case "follows":
		return r.Follows
	case "corrects":
		if r.Corrects != nil {
			return r.Corrects.ID
		}
	}
	return ""
}

// Verifier proves records one after the other: those of a chain in order of
// their numbers. It keeps nothing of a record but what the next one needs.
type Verifier struct {
	// Original returns what the journal of a run holds, Corrected the record that
	// another one corrects. Both may be nil, and say with ok false that it is not there.
	Original  func(run string) (Original, bool)
	Corrected func(id string) (Record, bool)

	expect Expect
	v      Verification
	next   Link // of the chain under way
	met    bool // the expected head
	metIn  string
	begun  bool
	gaps   bool // single records: what stands before the first is not looked at
	loose  bool // what stands between them neither
	inPart map[string]bool
}

// NewVerifier makes one for what is named of. With single, chains need not begin
// with their first record: their records are only held against each other.
func NewVerifier(of string, expect Expect, single bool) *Verifier {
	return &Verifier{expect: expect, gaps: single, v: Verification{Schema: VerificationSchema, Of: of, Chains: []ChainState{}, Keys: []SignedBy{}, Findings: []RecordFinding{}, Open: []string{}, Shown: []string{}}}
}

// Selected tells that only some records of a chain are there to be looked at.
func (w *Verifier) Selected() { w.loose = true }

// InPart tells, by their ids, of which chains some records alone were ever here.
func (w *Verifier) InPart(chains map[string]bool) { w.inPart = chains }

// Take adds a record.
func (w *Verifier) Take(e Examined) {
	w.v.Records++
	list := e.Findings
	if e.Seal.Schema != "" {
		list = w.withOriginal(e)
		if err := w.follows(e); err != nil {
			list = append(list, Finding{Text: err.Error()})
		}
		list = append(list, w.signed(e)...)
	} else if e.Chain != "" { // its seal is gone or can't be read; the next one is behind it
		w.begin(Link{e.Chain, e.Number, ""})
		w.next = Link{e.Chain, e.Number + 1, anyPrevious}
	}
	if e.readable && e.record.Corrects != nil && w.Corrected != nil {
		if old, ok := w.Corrected(e.record.Corrects.ID); ok {
			if err := e.record.CorrectsOnly(old); err != nil {
				list = append(list, Finding{Text: err.Error()})
			}
		}
	}
	for _, f := range list {
		w.Found(RecordFinding{ID: cmp.Or(e.Seal.ID, e.Name), Number: e.Seal.Number, Chain: e.Seal.Chain, Finding: f})
	}
	switch {
	case len(list) > 0:
		w.v.Wrong++
	case e.IsSealed():
		w.v.Proven++
	default:
		w.v.Unsealed++
	}
}

// Found adds a finding.
func (w *Verifier) Found(f RecordFinding) {
	if len(w.v.Findings) == mostListed {
		w.v.MoreFindings++
		return
	}
	w.v.Findings = append(w.v.Findings, f)
}

// Records is how many were taken.
func (w *Verifier) Records() int { return w.v.Records }

// withOriginal says more of parts that were changed, where the journal is there.
func (w *Verifier) withOriginal(e Examined) []Finding {
	if w.Original == nil || !slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Part != "" }) {
		return e.Findings
	}
	if o, ok := w.Original(e.runID()); ok {
		return e.Against(o, e.Findings)
	}
	return e.Findings
}

// runID is that of the run, which a correction shares with what it corrects.
func (e Examined) runID() string {
	var r struct{ Run struct{ ID string } }
	if json.Unmarshal(e.Bytes, &r) != nil {
		return e.Seal.ID
	}
	return cmp.Or(r.Run.ID, e.Seal.ID)
}

// follows holds the record against the one before it.
func (w *Verifier) follows(e Examined) error {
	s := e.Sealed
	w.begin(Link{s.Seal.Chain, s.Seal.Number, s.Seal.Previous})
	if (w.loose || w.inPart[s.Seal.Chain]) && s.Seal.Number > w.next.Number {
		w.next = Link{s.Seal.Chain, s.Seal.Number, s.Seal.Previous}
	}
	err := s.Follows(w.next)
	if w.next = s.Next(); !e.sealGood {
		w.next.Previous = anyPrevious
	}
	c := &w.v.Chains[len(w.v.Chains)-1]
	c.Count, c.Last, c.Head = c.Count+1, s.Seal.Number, s.Head()
	if w.expect.Head != "" && s.Head() == w.expect.Head && s.Seal.Number == w.expect.Count {
		w.met, w.metIn = true, s.Seal.Chain
	}
	return err
}

// begin begins a chain where the record is not of the one under way.
func (w *Verifier) begin(at Link) {
	if w.begun && at.Chain == w.next.Chain {
		return
	}
	w.begun = true
	w.next = Link{Chain: at.Chain, Number: 1}
	if w.gaps {
		w.next = at
	}
	w.v.Chains = append(w.v.Chains, ChainState{ID: at.Chain})
}

// signed counts keys, and finds those that are not to be expected.
func (w *Verifier) signed(e Examined) []Finding {
	k := slices.IndexFunc(w.v.Keys, func(x SignedBy) bool { return x.Key == e.Seal.Key })
	if k < 0 && len(w.v.Keys) < mostListed {
		x := SignedBy{Key: e.Seal.Key, Fingerprint: fingerprintOf(e.Seal.Key)}
		x.Expected = slices.Contains(w.expect.Keys, x.Fingerprint)
		k = len(w.v.Keys)
		w.v.Keys = append(w.v.Keys, x)
	}
	if k >= 0 {
		w.v.Keys[k].Records++
	}
	if print := fingerprintOf(e.Seal.Key); len(w.expect.Keys) > 0 && !slices.Contains(w.expect.Keys, print) {
		return []Finding{{Text: fmt.Sprintf("is signed by key %s; expected %s", print, strings.Join(w.expect.Keys, " or "))}}
	}
	return nil
}

// KeyFingerprint is that of the key which the seal names.
func (s Seal) KeyFingerprint() string { return fingerprintOf(s.Key) }

func fingerprintOf(key string) string {
	public, err := hex.DecodeString(key)
	if err != nil || len(public) != ed25519.PublicKeySize {
		return "unreadable"
	}
	return Fingerprint(public)
}

// Stop adds that the verification could not go on.
func (w *Verifier) Stop(err error) {
	w.Found(RecordFinding{Finding: Finding{Text: err.Error()}})
}

// Done is what came out. own is the id of the chain that the store adds to; ""
// where there is none, or files were looked at.
func (w *Verifier) Done(own string) Verification {
	for k := range w.v.Chains {
		w.v.Chains[k].Own = own != "" && w.v.Chains[k].ID == own
	}
	w.judgeTail()
	w.judgeKeys()
	for _, c := range w.v.Chains {
		if n := c.Last - c.Count; w.inPart[c.ID] && n > 0 {
			w.v.Open = append(w.v.Open, fmt.Sprintf("chain %s came here in part: %s before its last one, number %d, %s not here", c.ID, plural(n, "record", "records"), c.Last, choose(n, "is", "are")))
		}
	}
	if n := w.v.Unsealed; n > 0 {
		w.v.Open = append(w.v.Open, fmt.Sprintf("%s from before there were seals can't be proven: only that %s whole and %s from %s",
			plural(n, "record", "records"), choose(n, "it is", "they are"), choose(n, "follows", "follow"), choose(n, "itself", "themselves")))
	}
	return w.v
}

func (w *Verifier) judgeTail() {
	if w.expect.Head == "" && (w.gaps || w.v.Records == w.v.Unsealed) {
		return
	}
	switch {
	case w.expect.Head == "":
		w.v.Open = append(w.v.Open, "a tail that was cut off the store can't be excluded: compare head and number of records with those on the newest data sheet (--head, --count)")
	case w.met:
		w.showTail()
	default:
		w.Stop(w.tailGone())
	}
}

// showTail says of which chain the expected head was met, and of which nothing is
// known.
func (w *Verifier) showTail() {
	text := "nothing was cut off"
	switch {
	case w.gaps:
		text = "these records are not the whole chain"
	case len(w.v.Chains) > 1:
		text += " of chain " + w.metIn
	}
	text += fmt.Sprintf(": record number %d has the head that was given", w.expect.Count)
	for _, c := range w.v.Chains {
		if later := c.Last - w.expect.Count; c.ID == w.metIn && later > 0 {
			text += fmt.Sprintf("; %s since", plural(later, "record was added", "records were added"))
		}
	}
	w.v.Shown = append(w.v.Shown, text)
	if others := len(w.v.Chains) - 1; others > 0 && !w.gaps {
		w.v.Open = append(w.v.Open, fmt.Sprintf("a tail that was cut off %s can't be excluded: its own head and number of records would show that", choose(others, "the other chain", "one of the other chains")))
	}
}

// tailGone says why the expected head was not met.
func (w *Verifier) tailGone() error {
	most := 0
	for _, c := range w.v.Chains {
		most = max(most, c.Last)
	}
	if most < w.expect.Count {
		return fmt.Errorf("the tail was cut off: the data sheet tells of %s, here the last one is number %d", plural(w.expect.Count, "record", "records"), most)
	}
	return errors.New("no chain has the head that was given at that number of records: the chain was replaced, or head and count are of another store")
}

func (w *Verifier) judgeKeys() {
	if len(w.expect.Keys) > 0 || len(w.v.Keys) == 0 {
		return
	}
	var prints []string
	for _, k := range w.v.Keys {
		prints = append(prints, k.Fingerprint)
	}
	w.v.Open = append(w.v.Open, fmt.Sprintf("whose %s (%s) can't be told from here: compare the fingerprint with that on a data sheet (--fingerprint), or give the public key (--public-key)",
		choose(len(prints), "key signed", "keys signed"), strings.Join(prints[:min(len(prints), 10)], ", ")))
}

func plural(n int, one, many string) string { return fmt.Sprintf("%d %s", n, choose(n, one, many)) }

func choose(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
