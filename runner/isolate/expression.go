package isolate

import (
	"fmt"
	"math"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"
)

// expression is a frequency, in Hz, as a formula of numbers with names.
type expression struct {
	text    string
	program *vm.Program
}

// allowed are the characters of a formula of + - * / ( ), functions and numbers.
const allowed = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_+-*/(),. \t\n\r"

// parseExpression reads a formula that may use the names given.
func parseExpression(text string, names []string) (expression, error) {
	if len(text) > 500 {
		return expression{}, fmt.Errorf("is %d characters long; at most 500", len(text))
	}
	if at := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune(allowed, r) }); at >= 0 {
		return expression{}, fmt.Errorf("has %q, which has no place in a formula of numbers", []rune(text[at:])[0])
	}
	for _, x := range []string{"**", "..", "//", "/*"} { // a power, a list, a remark
		if strings.Contains(text, x) {
			return expression{}, fmt.Errorf("has %q, which has no place in a formula of numbers", x)
		}
	}
	env := make(map[string]float64, len(names))
	for _, name := range names {
		env[name] = 1
	}
	options := []expr.Option{expr.Env(env), expr.AsFloat64(), expr.DisableAllBuiltins(), expr.MaxNodes(100)}
	for _, name := range []string{"floor", "ceil", "round", "abs", "min", "max"} {
		options = append(options, expr.EnableBuiltin(name))
	}
	program, err := expr.Compile(text, options...)
	if err != nil {
		return expression{}, fmt.Errorf("%q is no expression of %v: %w", text, names, err)
	}
	return expression{text, program}, nil
}

// at is the value, NaN where it is none: an overflow, a division by zero.
func (x expression) at(values map[string]float64) float64 {
	if x.program == nil {
		return values["f"]
	}
	out, err := expr.Run(x.program, values)
	y, ok := out.(float64)
	if err != nil || !ok || math.IsInf(y, 0) {
		return math.NaN()
	}
	return y
}
