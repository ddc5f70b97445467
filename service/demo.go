package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// dusk is where the demo's night begins: 19:20 local time, invented like all of it.
var dusk = time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)

// demo plays one night of a simulated mount through the real service and the real client library, on a clock of its own, and checks
// itself: any answer other than the story's is an exit code of 5.
func demo(ctx context.Context, s streams, args []string) int {
	if len(args) > 0 {
		fmt.Fprintf(s.err, "demo takes no argument %q\n", args[0])
		return exitUsage
	}
	dir, err := os.MkdirTemp("", "keepclear-demo-")
	if err != nil {
		fmt.Fprintf(s.err, "the demo needs a folder for its record: %v\n", err)
		return exitCheck
	}
	n, err := newNight(ctx, s, filepath.Join(dir, "night.keepclear"))
	if err != nil {
		fmt.Fprintf(s.err, "the demo does not start: %v\n", err)
		return exitCheck
	}
	defer n.close()
	for _, play := range []func(){n.opening, n.evening, n.midnight, n.afterThePowerDip, func() { n.morning(ctx) }} {
		play()
		if ctx.Err() != nil {
			fmt.Fprintln(s.err, "the demo was interrupted; its record stays at "+n.record)
			return exitCheck
		}
		if len(n.wrong) > 0 { // what follows would follow from that
			break
		}
	}
	for _, w := range n.wrong {
		fmt.Fprintf(s.err, "NOT AS THE STORY SAYS: %s\n", w)
	}
	if len(n.wrong) > 0 {
		return exitCheck
	}
	return exitDone
}

// newNight starts the real service on loopback with a practice rig, and a client on it.
func newNight(ctx context.Context, s streams, record string) (*night, error) {
	n := &night{out: s.out, clock: &simClock{now: dusk}, record: record}
	s.now = n.clock.Now
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	if err != nil {
		return nil, err
	}
	members, err := newMembers(files, facility)
	if err != nil {
		return nil, err
	}
	members[0].Rig.Practice = true
	n.rig = members[0].Rig
	awake := func() time.Duration { return 0 } // its night takes no longer than the demo
	network := func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.02} }
	if n.service, err = assemble(s, members, serveOptions{record: record, listen: "127.0.0.1:0"}, network, awake); err != nil {
		return nil, err
	}
	// Unproven, rules are asked one by one, each in its time: on a machine that has none left for us the night would go otherwise.
	if err := proveRules(ctx, members, nil); err != nil {
		n.service.close()
		return nil, err
	}
	n.mount = practice.NewMount(n.rig, newMoment(), dusk)
	n.mount.Boresight = rig.DegAxes(0.5, 2.2) // the camera looks off the tube's axis: invented
	n.camera = practice.NewCamera(n.mount, 1)
	n.connect(ctx)
	return n, nil
}
