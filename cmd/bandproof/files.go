package main

import (
	"errors"
	"fmt"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner/kinds"

	"github.com/spf13/cobra"
)

// files are the procedure and the bench as read, with the profiles they need.
type files struct {
	procedure     *procedures.Procedure
	procedureFile record.Source
	bench         *procedures.Bench
	benchFile     record.Source
	counter       *profile.Profile
	sources       map[string]*profile.Profile
	aids          aidProfiles
	// procedurePath and benchPath are where the files lay, shelf has the profiles.
	procedurePath, benchPath string
	shelf                    *profiles.Shelf
}

// loadFiles reads both files; the mistakes of both are told at once.
func loadFiles(procedureFile, benchFile string) (*files, error) {
	f := &files{procedurePath: absolute(procedureFile), benchPath: absolute(benchFile), shelf: profiles.NewShelf(filepath.Dir(benchFile))}
	procedureText, notProcedure := readFile(procedureFile, "procedure")
	benchText, notBench := readFile(benchFile, "bench")
	if notProcedure == nil {
		notProcedure = f.readProcedure(procedureFile, procedureText)
	}
	if notBench == nil {
		notBench = f.readBench(benchFile, benchText)
	}
	if err := errors.Join(notProcedure, notBench); err != nil {
		return nil, err
	}
	return f, f.loadProfiles()
}

func (f *files) readProcedure(file string, text []byte) (err error) {
	if f.procedure, err = procedures.LoadProcedure(file, text, kinds.Tables()...); err == nil {
		f.procedureFile = record.NewSource(filepath.Base(file), f.procedure.Name, f.procedure.Revision, text)
	}
	return err
}

func (f *files) readBench(file string, text []byte) (err error) {
	if f.bench, err = procedures.LoadBench(file, text); err == nil {
		f.benchFile = record.NewSource(filepath.Base(file), f.bench.Name, "", text)
	}
	return err
}

func absolute(file string) string {
	if path, err := filepath.Abs(file); err == nil {
		return path
	}
	return file
}

func readFile(file, what string) ([]byte, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%s file: %w", what, err)
	}
	return text, nil
}

// loadProfiles finds each instrument's profile (an embedded one by name, else a
// file relative to the bench file, or as kept by an earlier process) and makes sure that bench file, procedure and
// profile fit together, before anybody moves a cable. All that is wrong is told.
func (f *files) loadProfiles() error {
	f.sources = map[string]*profile.Profile{}
	var errs []error
	wrong := func(key string, err error) {
		errs = append(errs, usage{fmt.Errorf("%s: %s: %w", f.benchFile.File, key, err)})
	}
	load := func(key string, c procedures.Connection, role string) *profile.Profile {
		p, err := f.shelf.Open(c.Profile)
		if err != nil {
			wrong(key+".profile", err)
			return nil
		}
		if p.Role() != role {
			wrong(key+".profile", fmt.Errorf("%q describes a %s, and a %s is needed here", c.Profile, p.Role(), role))
		}
		if err := linkConfig(c, p).Check(); err != nil {
			wrong(key+".address", err)
		}
		return p
	}
	for _, s := range f.bench.Sources {
		if s.ByHand() {
			continue
		}
		f.sources[s.Name] = load(fmt.Sprintf("source %q", s.Name), s.Connection, profile.RoleSource)
	}
	f.loadAids(load, wrong)
	if !f.bench.Counter.ByHand() {
		f.counter = load("counter", f.bench.Counter.Connection, profile.RoleCounter)
	}
	if f.counter != nil || f.bench.Counter.ByHand() {
		known := f.knownInputs()
		for _, i := range f.procedure.Inputs {
			if len(known) > 0 && !slices.Contains(known, i.Selector()) {
				errs = append(errs, usage{fmt.Errorf("%s: input %q: the counter's profile %q knows the inputs %s; state channel for it", f.procedureFile.File, i.Name, f.bench.Counter.Profile, strings.Join(known, ", "))})
			}
		}
	}
	return errors.Join(errs...)
}

// restrict leaves of a plan what --only names; all where it names nothing.
func (f *files) restrict(plan *procedures.Plan, only []string) error {
	if len(only) == 0 {
		return nil
	}
	if err := plan.Restrict(f.bench, only); err != nil {
		return usage{fmt.Errorf("--only: %w", err)}
	}
	return nil
}

// plan makes the plan; what the profiles say of timing goes in as plain values.
func (f *files) plan(now time.Time, adjusted procedures.Date) (*procedures.Plan, error) {
	plan, err := procedures.NewPlan(f.procedure, f.bench, f.options(now, adjusted))
	if err != nil {
		return nil, usage{err}
	}
	return plan, nil
}

// options are what a plan is made with.
func (f *files) options(now time.Time, adjusted procedures.Date) procedures.Options {
	caps := map[string]procedures.Capability{"": f.counterTiming()}
	for _, s := range f.bench.Sources {
		caps[s.Name] = f.sourceTiming(s)
	}
	if m := f.aids.monitor; m != nil {
		caps[procedures.MonitorName] = procedures.Capability{Discard: m.Capability().Discard, Overhead: m.Capability().Overhead}
	}
	return procedures.Options{Now: now, Adjusted: adjusted, Capabilities: caps}
}

// jobFlags are the flags that fill in or replace what a job file says.
type jobFlags struct {
	path                                                       string
	number, customer, asset, serial, technician, work, remarks string
	temperature, humidity, onFor, notReleased                  string
	unaltered                                                  bool
}

func (j *jobFlags) file(c *cobra.Command) {
	c.Flags().StringVar(&j.path, "job", "", "job file (TOML)")
}

func (j *jobFlags) all(c *cobra.Command) {
	j.file(c)
	c.Flags().StringVar(&j.number, "number", "", "number of the order")
	c.Flags().StringVar(&j.customer, "customer", "", "customer")
	c.Flags().StringVar(&j.asset, "asset", "", "asset number")
	c.Flags().StringVar(&j.serial, "serial", "", "serial number of the unit")
	c.Flags().StringVar(&j.technician, "technician", "", "who does the work")
	c.Flags().StringVar(&j.work, "work", "", "what was done to the unit since the as-found run")
	c.Flags().StringVar(&j.remarks, "remarks", "", "remarks for the data sheet")
	c.Flags().StringVar(&j.notReleased, "not-released", "", "why the unit is not released as calibrated, such as \"beyond repair\"; data sheet and label say so")
	c.Flags().BoolVar(&j.unaltered, "unaltered", false, "calibration only: nothing is repaired, adjusted or changed, so the as-found run is the as-left run as well")
	c.Flags().StringVar(&j.temperature, "temperature", "", "ambient temperature, such as \"23 °C\"")
	c.Flags().StringVar(&j.humidity, "humidity", "", "relative humidity, such as \"45 %\"")
	c.Flags().StringVar(&j.onFor, "on-for", "", "how long the unit has been on, such as \"2 h\"")
}

// load reads the job file, if any, and lays the flags over it.
func (j *jobFlags) load(c *cobra.Command) (procedures.Job, error) {
	job := procedures.Job{Schema: procedures.JobSchema}
	if j.path != "" {
		text, err := readFile(j.path, "job")
		if err != nil {
			return job, err
		}
		p, err := procedures.LoadJob(j.path, text)
		if err != nil {
			return job, err
		}
		job = *p
	}
	for flag, to := range map[string]*string{"number": &job.Number, "customer": &job.Customer, "asset": &job.Asset, "serial": &job.Serial,
		"technician": &job.Technician, "work": &job.Work, "remarks": &job.Remarks, "not-released": &job.NotReleased} {
		if f := c.Flags().Lookup(flag); f != nil && f.Changed {
			*to = f.Value.String()
		}
	}
	job.Unaltered = job.Unaltered || j.unaltered
	if err := j.conditions(&job); err != nil {
		return job, usage{err}
	}
	for _, x := range job.Check() {
		return job, usage{fmt.Errorf("--%s: %s", strings.ReplaceAll(x.Key, "_", "-"), x.Text)}
	}
	return job, nil
}

func (j *jobFlags) conditions(job *procedures.Job) error {
	if j.temperature != "" {
		v, err := quantity.Parse[quantity.Celsius](j.temperature)
		if err != nil {
			return fmt.Errorf("--temperature: %w", err)
		}
		job.Temperature = &v
	}
	if j.humidity != "" {
		v, err := quantity.Parse[quantity.One](j.humidity)
		if err != nil {
			return fmt.Errorf("--humidity: %w", err)
		}
		job.Humidity = &v
	}
	if j.onFor != "" {
		v, err := quantity.Parse[quantity.Second](j.onFor)
		if err != nil {
			return fmt.Errorf("--on-for: %w", err)
		}
		job.OnFor = v
	}
	return nil
}

// sorted walks a map by its keys in order.
func sorted[V any](m map[string]V) iter.Seq2[string, V] {
	return func(yield func(string, V) bool) {
		for _, k := range slices.Sorted(maps.Keys(m)) {
			if !yield(k, m[k]) {
				return
			}
		}
	}
}
