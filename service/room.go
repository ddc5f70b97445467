package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/unit"
)

// roomOptions are the flags of room.
type roomOptions struct {
	oneFile
	gap     float64 // mm; negative: the margins in force
	band    float64 // degrees
	picture string
	whatIfs []whatIf
}

// whatIf is what is changed together in the file.
type whatIf []rig.Change

func readWhatIf(text string) (out whatIf, err error) {
	for one := range strings.SplitSeq(text, ",") {
		c, err := rig.ReadChange(one)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

func (w whatIf) String() string { return rig.Together(w) }

// in makes the changes one after the other.
func (w whatIf) in(file rigFile) (rigFile, error) {
	content, open, err := rig.Changed(file.name, file.content, file.open, w...)
	return rigFile{name: file.name, content: content, open: open, limits: file.limits}, err
}

// room says how far the axes of a rig may turn with what it carries, and how far they might if a length were another.
func room(ctx context.Context, s streams, args []string) int {
	o, err := roomFlags(s, args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		fmt.Fprintln(s.err, err)
		return exitUsage
	}
	if err := o.sayAll(ctx, s); err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	return exitDone
}

// sayAll says what was found of the file, and of it with each of the changes.
func (o *roomOptions) sayAll(ctx context.Context, s streams) error {
	file, err := o.read()
	if err != nil {
		return err
	}
	var changed []rigFile
	for _, w := range o.whatIfs { // what cannot be changed is said first, and not below a page about the file as it is
		other, err := w.in(file)
		if err != nil {
			return err
		}
		changed = append(changed, other)
	}
	first, column, err := o.say(ctx, s, file, "")
	if err != nil {
		return err
	}
	columns := []draw.Column{column}
	for i, w := range o.whatIfs {
		fmt.Fprintln(s.out)
		if _, column, err = o.say(ctx, s, changed[i], w.String()); err != nil {
			return err
		}
		columns = append(columns, column)
	}
	if len(columns) > 1 {
		fmt.Fprint(s.out, "\n"+draw.SideBySide(first, columns))
	}
	return nil
}

func roomFlags(s streams, args []string) (roomOptions, error) {
	var o roomOptions
	f := flag.NewFlagSet("room", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = f.PrintDefaults // how the command is used is said before
	f.Float64Var(&o.gap, "gap", -1, "keep so many `mm` between all parts, instead of the margins in force")
	f.Float64Var(&o.band, "band", 30, "width of the bands of axis 2, `degrees`, 1 to 360")
	f.StringVar(&o.picture, "picture", "", "draw the map into this `file` (SVG)")
	o.practiceFlag(f)
	o.stateFlag(f)
	f.Func("what-if", "how it would be if a number of the file were another: `tape.camera_radius_mm+=30`; several that change together with commas between; given again, each by itself, and all side by side", func(text string) error {
		w, err := readWhatIf(text)
		o.whatIfs = append(o.whatIfs, w)
		return err
	})
	if err := parseAnywhere(f, args); err != nil {
		return o, err
	}
	switch {
	case !(o.band >= 1 && o.band <= 360):
		return o, fmt.Errorf("--band is %g, want 1 to 360 degrees", o.band)
	case math.IsNaN(o.gap) || o.gap > 10_000 || o.gap < 0 && o.gap != -1:
		return o, fmt.Errorf("--gap is %g, want 0 to 10000 mm", o.gap)
	}
	return o, o.choose("room", f)
}

// say surveys one reading of the file, says what was found and sums it up; the picture is that of the file as it is.
func (o *roomOptions) say(ctx context.Context, s streams, file rigFile, what string) (*rig.Rig, draw.Column, error) {
	r, err := loaded(file, what)
	if err != nil {
		return nil, draw.Column{}, err
	}
	survey, asked, err := o.survey(ctx, s, r, file)
	if err != nil {
		return nil, draw.Column{}, err
	}
	asked.What = what
	fmt.Fprint(s.out, draw.Room(r, survey, asked))
	column := draw.NewColumn(survey, asked)
	if o.picture == "" || what != "" {
		return r, column, nil
	}
	if err := keepPicture(o.picture, draw.Map(r, survey, asked, nil)); err != nil {
		return nil, draw.Column{}, err
	}
	fmt.Fprintf(s.out, "\nThe map is drawn in %s.\n", o.picture)
	return r, column, nil
}

// survey works the map of a rig out, with its parts in the states that were named.
func (o *roomOptions) survey(ctx context.Context, s streams, r *rig.Rig, file rigFile) (*reach.Survey, draw.Asked, error) {
	of, err := ofFile(r, file)
	if err != nil {
		return nil, draw.Asked{}, err
	}
	if of.Parts, err = o.parts(r); err != nil {
		return nil, draw.Asked{}, err
	}
	of.Band = unit.Deg(o.band)
	if gap := unit.Length(o.gap); gap >= 0 {
		of.Gap = &gap
	}
	half := false
	out, err := survey.New(nil).Survey(ctx, of, func(share float64) {
		if !half && share >= 0.5 {
			half = true
			fmt.Fprintln(s.err, "half of the map is worked out …")
		}
	})
	if err != nil {
		return nil, draw.Asked{}, errors.New("stopped before the map was worked out")
	}
	return out, draw.Asked{Gap: of.Gap, Parts: of.Parts}, nil
}

// ofFile is what is surveyed or looked at of a rig by the limits of its file, and of the facility's beside it.
func ofFile(r *rig.Rig, file rigFile) (survey.Of, error) {
	facility, err := file.facility()
	if err != nil {
		return survey.Of{}, err
	}
	set, err := limitsFit(r, facility, file.name)
	if err != nil {
		return survey.Of{}, fmt.Errorf("the limits do not fit: %w", err)
	}
	return survey.Of{Rig: r, Limits: set}, nil
}
