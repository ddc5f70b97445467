package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// roomOptions are the flags of room.
type roomOptions struct {
	rigFile
	gap      float64 // mm; negative: the margins in force
	band     float64 // degrees
	picture  string
	practice string
	whatIfs  []rig.Change
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
	if o.practice == "" {
		if o.rigFile, err = oneRig(o.name); err != nil {
			fmt.Fprintln(s.err, err)
			return exitCheck
		}
	}
	if err := o.say(ctx, s, o.content, ""); err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	for _, c := range o.whatIfs {
		content, err := c.In(o.name, o.content)
		if err == nil {
			fmt.Fprintln(s.out)
			err = o.say(ctx, s, content, c.String())
		}
		if err != nil {
			fmt.Fprintln(s.err, err)
			return exitCheck
		}
	}
	return exitDone
}

func roomFlags(s streams, args []string) (roomOptions, error) {
	var o roomOptions
	f := flag.NewFlagSet("room", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = f.PrintDefaults // how the command is used is said before
	f.Float64Var(&o.gap, "gap", -1, "keep so many `mm` between all parts, instead of the margins in force")
	f.Float64Var(&o.band, "band", 30, "width of the bands of axis 2, `degrees`, 1 to 360")
	f.StringVar(&o.picture, "picture", "", "draw the map into this `file` (SVG)")
	f.StringVar(&o.practice, "practice", "", "the simulated rig instead of a file: heron")
	f.Func("what-if", "how it would be if a number of the file were another: `tape.floor_to_crossing_mm+=150`; may be repeated", func(text string) error {
		c, err := rig.ReadChange(text)
		o.whatIfs = append(o.whatIfs, c)
		return err
	})
	if err := f.Parse(args); err != nil {
		return o, err
	}
	switch {
	case (o.practice == "") != (f.NArg() == 1) || f.NArg() > 1:
		return o, errors.New("usage: room [FLAGS] FILE, or room --practice heron; flags come before the file")
	case !(o.band >= 1 && o.band <= 360):
		return o, fmt.Errorf("--band is %g, want 1 to 360 degrees", o.band)
	case math.IsNaN(o.gap) || o.gap > 10_000 || o.gap < 0 && o.gap != -1:
		return o, fmt.Errorf("--gap is %g, want 0 to 10000 mm", o.gap)
	}
	o.name = f.Arg(0)
	if o.practice != "" {
		files, _, err := rigSource(serveOptions{practice: o.practice})
		if err != nil {
			return o, err
		}
		o.rigFile = files[0]
	}
	return o, nil
}

// say surveys one reading of the file and says what was found; the picture is that of the file as it is.
func (o *roomOptions) say(ctx context.Context, s streams, content []byte, what string) error {
	r, faults := rig.Parse(o.name, content, o.open)
	if len(faults) > 0 {
		return fmt.Errorf("%w\nThe file does not load%s; see check FILE", faultsError(faults), map[bool]string{true: " if " + what, false: ""}[what != ""])
	}
	survey, asked, err := o.survey(ctx, s, r)
	if err != nil {
		return err
	}
	asked.What = what
	fmt.Fprint(s.out, draw.Room(r, survey, asked))
	if o.picture == "" || what != "" {
		return nil
	}
	if err := os.WriteFile(o.picture, []byte(draw.Map(r, survey, asked)), 0o644); err != nil {
		return fmt.Errorf("writing the picture: %w; name a file in a folder that you may write to", err)
	}
	fmt.Fprintf(s.out, "\nThe map is drawn in %s.\n", o.picture)
	return nil
}

// survey works the map of a rig out, with its parts in all of their states.
func (o *roomOptions) survey(ctx context.Context, s streams, r *rig.Rig) (*reach.Survey, draw.Asked, error) {
	set, err := limitsFit(r, nil, o.name)
	if err != nil {
		return nil, draw.Asked{}, fmt.Errorf("the limits do not fit: %w", err)
	}
	part, _ := set.Value("clear/path", "part_mm")
	general, _ := set.Value("clear/path", "general_mm")
	p := reach.New(r.Scene(nil, unit.Length(part), unit.Length(general)))
	m, asked := p.NewMap(), draw.Asked{}
	if gap := unit.Length(o.gap); gap >= 0 {
		m, asked.Gap = p.NewMapOfGap(gap), &gap
	}
	out := p.Survey(m, reach.SurveyOf{
		About: r.Home, Spread: r.Homing.Sigma.Scale(3).Add(r.Motion.Overrun), Travel: r.Travel, Band: unit.Deg(o.band), Budget: reach.RasterBudget,
	}, func(done, of int) bool {
		if done == of/2 {
			fmt.Fprintln(s.err, "half of the map is worked out …")
		}
		return ctx.Err() == nil
	})
	if out == nil {
		return nil, asked, errors.New("stopped before the map was worked out")
	}
	return out, asked, nil
}
