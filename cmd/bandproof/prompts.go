package main

import (
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

// promptFlags overrule what a procedure says of questions that nobody answers.
type promptFlags struct{ timeout, then string }

func (f *promptFlags) all(c *cobra.Command) {
	c.Flags().StringVar(&f.timeout, "prompt-timeout", "", "how long a question waits for its answer, such as \"30 min\", in place of what the procedure says")
	c.Flags().StringVar(&f.then, "on-timeout", "", "what happens then, in place of what the procedure says: wait, skip (the input is offered once more at the end) or stop")
}

// policy lays the flags over what the procedure says.
func (f promptFlags) policy(p procedures.Prompts) (procedures.Prompts, error) {
	if f.timeout != "" {
		d, err := quantity.Parse[quantity.Second](f.timeout)
		if err != nil {
			return p, usage{fmt.Errorf("--prompt-timeout: %w", err)}
		}
		p.Timeout = &d
	}
	if f.then != "" {
		p.OnTimeout = f.then
	}
	flags := map[string]string{"timeout": "--prompt-timeout", "on_timeout": "--on-timeout"}
	for _, w := range p.Check() {
		if flag := flags[w.Key]; flag != "" {
			return p, usage{fmt.Errorf("%s: %s", flag, w.Text)}
		}
	}
	return p, nil
}

// prompts puts the questions of a run to its operator.
func (w sweep) prompts() (*runner.Prompts, error) {
	policy, err := w.asking.policy(w.files.procedure.Prompts)
	return runner.NewPrompts(w.operator, policy, w.clock), err
}
