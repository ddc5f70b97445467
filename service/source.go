package main

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// rigSource returns the rig files to serve: those of a folder, or the practice rig built in.
func rigSource(o serveOptions) ([]rigFile, *limits.Layer, error) {
	switch o.practice {
	case "":
		return readRigs(o.rigs)
	case "heron":
		return []rigFile{{name: "heron.yaml (built in)", content: practice.HeronFile()}}, nil, nil
	}
	return nil, nil, fmt.Errorf("there is no practice rig %q: heron is the only one", o.practice)
}

// oneRig reads one rig file, with what lies beside it.
func oneRig(path string) (rigFile, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return rigFile{}, fmt.Errorf("the file cannot be read: %w; give the path of a rig file (an empty form: check --blank)", err)
	}
	dir := filepath.Dir(path)
	common, err := beside(dir)(limitsFile)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return rigFile{}, fmt.Errorf("the limits beside the file cannot be read: %w; mend that, or move the file to a folder of its own", err)
	}
	return rigFile{name: path, content: content, open: beside(dir), limits: common}, nil
}

// beside is the path of what lies beside the file under a name.
func (f rigFile) beside(name string) string { return filepath.Join(filepath.Dir(f.name), name) }

// facility is what the limits beside a rig file say, as a service that serves their folder reads them; nil: there are none.
func (f rigFile) facility() (*limits.Layer, error) {
	if f.limits == nil {
		return nil, nil
	}
	l, err := limits.ParseLayer("facility", f.beside(limitsFile), f.limits)
	if err != nil {
		return nil, err
	}
	return &l, nil
}

// oneFile is the choice of one rig for commands that look at one: a file, or the practice rig.
type oneFile struct {
	path, practice string
	states         []string // as they were written
}

// stateFlag takes states of parts.
func (o *oneFile) stateFlag(f *flag.FlagSet) {
	f.Func("state", "take a part in one of its states, as `roof=open`, or focuser=35 in its unit; may be repeated, and parts not named are in all of theirs at once", func(text string) error {
		o.states = append(o.states, text)
		return nil
	})
}

// parts are the states that were named, as the rig has them.
func (o *oneFile) parts(r *rig.Rig) (out []rig.PartState, err error) {
	for _, text := range o.states {
		s, err := r.ReadState(text)
		if err != nil {
			return nil, fmt.Errorf("--state: %w", err)
		}
		out = append(out, s)
	}
	return out, nil
}

func (o *oneFile) practiceFlag(f *flag.FlagSet) {
	f.StringVar(&o.practice, "practice", "", "the simulated rig instead of a file: heron")
}

// choose takes the choice from what was parsed.
func (o *oneFile) choose(command string, f *flag.FlagSet) error {
	if (o.practice == "") != (f.NArg() == 1) || f.NArg() > 1 {
		return errors.New("usage: " + command + " [FLAGS] FILE, or " + command + " --practice heron")
	}
	o.path = f.Arg(0)
	if o.practice == "" {
		return nil
	}
	_, err := o.read()
	return err
}

func (o *oneFile) read() (rigFile, error) {
	if o.practice == "" {
		return oneRig(o.path)
	}
	files, _, err := rigSource(serveOptions{practice: o.practice})
	if err != nil {
		return rigFile{}, err
	}
	return files[0], nil
}

// loaded parses a rig file; what says how it was changed, if it was.
func loaded(file rigFile, what string) (*rig.Rig, error) {
	r, faults := rig.Parse(file.name, file.content, file.open)
	if len(faults) == 0 {
		return r, nil
	}
	if what != "" {
		what = " if " + what
	}
	return nil, fmt.Errorf("%w\nThe file does not load%s; see check FILE", faultsError(faults), what)
}
