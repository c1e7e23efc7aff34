package profile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bandproof/drivers"
	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// value reads the number of an answer in the unit that the reply states (the
// base unit unless stated), every digit kept. A mark other than None means
// that the answer stands for something that is no number.
func value[D quantity.Dimension](r *Reply, answer string) (quantity.Value[D], drivers.Mark, error) {
	var none quantity.Value[D]
	if r == nil {
		r = &Reply{}
	}
	if r.raw() {
		d, err := r.packed(answer)
		if err != nil {
			return none, drivers.None, err
		}
		return inUnit[D](d, r.Unit)
	}
	whole := strings.TrimSpace(answer)
	if isAnswer(whole, r.NoSignal) {
		return none, drivers.NoSignal, nil
	}
	if isAnswer(whole, r.OverRange) {
		return none, drivers.OverRange, nil
	}
	if err := r.fits(answer); err != nil {
		return none, drivers.None, err
	}
	rest, mark, err := r.flagged(answer)
	if err != nil || mark != drivers.None {
		return none, mark, err
	}
	number, err := r.strip(strings.TrimSpace(rest))
	if err != nil {
		return none, drivers.None, err
	}
	number, unit, err := r.unitOf(number)
	if err != nil {
		return none, drivers.None, err
	}
	d, mark, err := r.decimal(number)
	if err != nil || mark != drivers.None {
		return none, mark, err
	}
	return inUnit[D](d, unit)
}

// inUnit gives a number its unit; "" is the base unit.
func inUnit[D quantity.Dimension](d *apd.Decimal, name string) (quantity.Value[D], drivers.Mark, error) {
	if name == "" {
		return quantity.New[D](d), drivers.None, nil
	}
	unit, err := quantity.Parse[D]("1 " + name)
	if err != nil {
		return quantity.Value[D]{}, drivers.None, err // Load has refused such a unit
	}
	one := unit.Decimal()
	return quantity.New[D](d).Scale(one.Coeff.Int64(), one.Exponent), drivers.None, nil
}

// strip removes what stands before and after the number.
func (r *Reply) strip(text string) (string, error) {
	text, ok := cut(text, r.Prefix, strings.CutPrefix)
	if !ok {
		return "", fmt.Errorf("%w: %s does not begin with %s", drivers.ErrUnreadable, quote(text), strings.Join(quoted(r.Prefix), " or "))
	}
	text, ok = cut(text, r.Suffix, strings.CutSuffix)
	if !ok {
		return "", fmt.Errorf("%w: %s does not end with %s", drivers.ErrUnreadable, quote(text), strings.Join(quoted(r.Suffix), " or "))
	}
	return strings.TrimSpace(text), nil
}

// cut removes the longest of the affixes that is there.
func cut(text string, affixes []string, by func(s, affix string) (string, bool)) (string, bool) {
	if len(affixes) == 0 {
		return text, true
	}
	byLength := slices.SortedFunc(slices.Values(affixes), func(a, b string) int { return cmp.Compare(len(b), len(a)) })
	for _, a := range byLength {
		if rest, ok := by(text, a); ok {
			return rest, true
		}
	}
	return text, false
}

// reading reads an answer as a frequency that a counter shows: never negative.
func (r *Read) reading(answer string) (quantity.Frequency, drivers.Mark, error) {
	f, mark, err := value[quantity.Hertz](r.Reply, answer)
	switch {
	case err != nil || mark != drivers.None:
		return quantity.Frequency{}, mark, err
	case f.Sign() < 0:
		return quantity.Frequency{}, drivers.None, fmt.Errorf("%w: %s is a negative frequency", drivers.ErrUnreadable, quote(answer))
	case f.Sign() == 0 && r.ZeroIsNoCount:
		return quantity.Frequency{}, drivers.NoSignal, nil
	}
	return f, drivers.None, nil
}

// setting reads an answer as a value that the instrument is set to: a marker
// is as unreadable as a text.
func setting[D quantity.Dimension](r *Reply, answer string) (quantity.Value[D], error) {
	v, mark, err := value[D](r, answer)
	if err == nil && mark != drivers.None {
		err = fmt.Errorf("%w: %s stands for %q where a setting was asked for", drivers.ErrUnreadable, quote(answer), mark)
	}
	return v, err
}

// positiveSetting is setting for values that are above zero.
func positiveSetting[D quantity.Dimension](r *Reply, answer string) (quantity.Value[D], error) {
	v, err := setting[D](r, answer)
	if err == nil && v.Sign() <= 0 {
		err = fmt.Errorf("%w: %s is not above zero", drivers.ErrUnreadable, quote(answer))
	}
	return v, err
}

// Bounds of a number in a reply: more than any instrument sends, and less than
// quantity can print and read back.
const (
	maxDigits    = 50
	maxMagnitude = 45  // largest power of ten
	minExponent  = -60 // of the last digit
)

// decimal reads a number in the form of the reply, or the mark that it stands for.
func (r *Reply) decimal(number string) (*apd.Decimal, drivers.Mark, error) {
	if r.Form == FormPlain {
		d, err := plain(number, r.Comma)
		if err != nil {
			return nil, drivers.None, err
		}
		d.Exponent += int32(r.Power)
		return d, drivers.None, sized(d, number)
	}
	return decimal(number)
}

// decimal reads a number as SCPI has it, or the mark that it stands for.
func decimal(number string) (*apd.Decimal, drivers.Mark, error) {
	n, err := scpi.ParseNumber([]byte(number))
	if err != nil {
		return nil, drivers.None, fmt.Errorf("%w: %w", drivers.ErrUnreadable, err)
	}
	switch n.Marker {
	case scpi.Infinity:
		return nil, drivers.OverRange, nil
	case scpi.NotANumber:
		return nil, drivers.NoSignal, nil
	case scpi.MinusInfinity:
		return nil, drivers.None, fmt.Errorf("%w: %s stands for minus infinity", drivers.ErrUnreadable, quote(number))
	}
	d := n.Decimal()
	if err := sized(d, number); err != nil {
		return nil, drivers.None, err
	}
	return d, drivers.None, nil
}

// sized refuses what no instrument sends.
func sized(d *apd.Decimal, number string) error {
	if d.NumDigits() > maxDigits || d.Exponent < minExponent || int64(d.Exponent)+d.NumDigits()-1 > maxMagnitude {
		return fmt.Errorf("%w: %s is out of range", drivers.ErrUnreadable, quote(number))
	}
	return nil
}
