package main

import (
	"fmt"
	"strings"

	"bandproof/runner/isolate"
)

// modelCheck lays out what could be found in a unit of a model.
func (t *terminal) modelCheck(c isolate.Check) {
	t.print("model %q of %s: %s, %s, %s", c.Name, c.Unit, countOf(c.Stages, "stage"), countOf(c.Faults, "way")+" in which they fail", countOf(c.TestPoints, "test point"))
	t.print("")
	if len(c.Unreachable) == 0 {
		t.print("every stage matters to some reading or test point")
	} else {
		t.paragraph("", "  ", "unreachable, no reading and no test point depends on them: "+strings.Join(c.Unreachable, ", "))
	}
	if len(c.Hidden) == 0 {
		t.print("every fault shows somewhere")
	} else {
		t.paragraph("", "  ", "hidden, no reading and no test point shows these faults clearly: "+faultsOf(c.Hidden))
	}
	t.print("")
	if len(c.BySweep) == 0 {
		t.print("readings tell all faults of different stages apart")
	} else {
		t.print("readings do not tell apart (%s)", countOf(len(c.BySweep), "group"))
		for _, g := range c.BySweep {
			t.paragraph("  - ", "    ", faultsOf(g))
		}
	}
	t.print("")
	if len(c.Splits) == 0 {
		t.print("readings and test points together tell all faults of different stages apart")
		return
	}
	t.print("test points do not tell apart either (%s, the largest first)", countOf(len(c.Splits), "group"))
	for _, s := range c.Splits {
		t.paragraph("  - ", "    ", faultsOf(s.Group))
		if s.After == "" {
			t.print("      no further test point would")
			continue
		}
		var parts []string
		for _, p := range s.Parts {
			parts = append(parts, faultsOf(p))
		}
		t.paragraph("      ", "        ", fmt.Sprintf("a test point after %s would part them: %s", s.After, strings.Join(parts, " | ")))
	}
}

// faultsOf names faults stage by stage: "B amplifier (dead, weak), B limiter (dead)".
func faultsOf(list []isolate.StageMode) string {
	var stages []string
	modes := map[string][]string{}
	for _, x := range list {
		if len(modes[x.Stage]) == 0 {
			stages = append(stages, x.Stage)
		}
		modes[x.Stage] = append(modes[x.Stage], string(x.Mode))
	}
	for k, s := range stages {
		stages[k] = fmt.Sprintf("%s (%s)", s, strings.Join(modes[s], ", "))
	}
	return strings.Join(stages, ", ")
}
