package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"text/tabwriter"

	"bandproof/drivers/virtual"
)

// probes answers each line that names a test point with what a probe finds
// there, until the lines end. A line that names none is answered with those
// that there are.
func probes(b *virtual.Bench, lines io.Reader, out io.Writer) error {
	scan := bufio.NewScanner(lines)
	for scan.Scan() {
		point := strings.TrimSpace(scan.Text())
		if point == "" {
			continue
		}
		answer := ""
		if p, err := b.Probe(point); err != nil {
			answer = err.Error()
		} else {
			answer = p.String()
		}
		if _, err := fmt.Fprintln(out, answer); err != nil {
			return fmt.Errorf("answer the probe of %s: %w", point, err)
		}
	}
	if err := scan.Err(); err != nil {
		return fmt.Errorf("read test points from standard input: %w", err)
	}
	return nil
}

// oneWriter lets the places and the probes write lines that stay whole.
type oneWriter struct {
	mu sync.Mutex
	w  io.Writer
}

func (o *oneWriter) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.w.Write(p)
}

// listStages lists what is inside the counter of a scenario, how it can fail,
// and where it can be probed.
func listStages(f flags, out io.Writer) error {
	s, err := scenario(f.scenario)
	if err != nil {
		return err
	}
	b, err := virtual.New(s, virtual.Options{})
	if err != nil {
		return err
	}
	defer func() { _ = b.Close() }() // no link was opened
	points := map[string]string{}
	for _, p := range b.TestPoints() {
		points[p.Stage] = strings.TrimSpace(points[p.Stage] + " " + p.Name)
	}
	stages := b.Stages()
	if len(stages) == 0 {
		return errors.New("the scenario states no stages of the counter")
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(w, "STAGE\tMODE\tAMOUNT\tWHAT IS WRONG, AND WHERE TO PROBE") // errors come back from Flush
	for _, x := range stages {
		fed := strings.Join(x.From, ", ")
		switch {
		case x.Input != "":
			fed = ", fed by input " + x.Input
		case fed != "":
			fed = ", fed by " + fed
		}
		at := points[x.Name]
		if at != "" {
			at = "; behind it " + at
		}
		_, _ = fmt.Fprintf(w, "%s\t\t\t%s%s%s\n", x.Name, x.Kind, fed, at)
		for _, m := range x.Modes {
			amount := "-"
			if m.Default != "" {
				amount = m.Default
			}
			_, _ = fmt.Fprintf(w, "\t%s\t%s\t%s\n", m.Name, amount, m.About)
		}
	}
	if err := w.Flush(); err != nil {
		return &benchError{fmt.Errorf("write the list: %w", err)}
	}
	return nil
}
