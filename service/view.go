package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/rig"
)

// viewOptions are the flags of view.
type viewOptions struct {
	oneFile
	at      *rig.Axes // nil: home
	picture string
}

// view says how near the parts of a rig are at one pose of its axes, and draws it.
func view(_ context.Context, s streams, args []string) int {
	o, err := viewFlags(s, args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		fmt.Fprintln(s.err, err)
		return exitUsage
	}
	if err := o.say(s); err != nil {
		fmt.Fprintln(s.err, err)
		return exitCheck
	}
	return exitDone
}

func viewFlags(s streams, args []string) (viewOptions, error) {
	var o viewOptions
	f := flag.NewFlagSet("view", flag.ContinueOnError)
	f.SetOutput(s.err)
	f.Usage = f.PrintDefaults // how the command is used is said before
	f.StringVar(&o.picture, "picture", "", "draw the rig into this `file` (SVG)")
	o.practiceFlag(f)
	o.stateFlag(f)
	f.Func("at", "`axis1,axis2` in degrees from the rig's zero, as 20,-35.5; without it, home", func(text string) error {
		at, err := readAxes(text)
		o.at = &at
		return err
	})
	if err := parseAnywhere(f, args); err != nil {
		return o, err
	}
	return o, o.choose("view", f)
}

// mostTurned bounds the angles that are looked at, degrees. Choice: ten turns, more than any cable bears.
const mostTurned = 3600

func readAxes(text string) (rig.Axes, error) {
	one, two, _ := strings.Cut(text, ",")
	a1, err1 := strconv.ParseFloat(strings.TrimSpace(one), 64)
	a2, err2 := strconv.ParseFloat(strings.TrimSpace(two), 64)
	if err := errors.Join(err1, err2); err != nil || !(math.Abs(a1) <= mostTurned && math.Abs(a2) <= mostTurned) {
		return rig.Axes{}, fmt.Errorf("want both axes in degrees within ±%d, as 20,-35.5", mostTurned)
	}
	return rig.DegAxes(a1, a2), nil
}

func (o *viewOptions) say(s streams) error {
	file, err := o.read()
	if err != nil {
		return err
	}
	r, err := loaded(file, "")
	if err != nil {
		return err
	}
	of, err := ofFile(r, file)
	if err != nil {
		return err
	}
	at := r.Home
	if o.at != nil {
		at = *o.at
	}
	if of.Parts, err = o.parts(r); err != nil {
		return err
	}
	v := draw.NewView(r, of.Scene(), at, of.Parts...)
	fmt.Fprint(s.out, v.Text())
	if o.picture == "" {
		return nil
	}
	if err := keepPicture(o.picture, v.Picture()); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "The rig is drawn in %s.\n", o.picture)
	return nil
}

func keepPicture(file, svg string) error {
	if err := os.WriteFile(file, []byte(svg), 0o644); err != nil {
		return fmt.Errorf("writing the picture: %w; name a file in a folder that you may write to", err)
	}
	return nil
}
