// Command example is a whole program that asks before it moves a mount: copy it, and put your mount's driver where the simulated one is.
//
// As it stands it runs against go run ./service serve --practice heron.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

func main() {
	address := flag.String("at-address", keepclear.DefaultAddress, "where the service listens")
	homing := flag.Bool("home", false, "home the mount first; the simulated one has done so by itself")
	flag.Parse()
	if err := night(context.Background(), *address, *homing, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// night opens the rig, homes it where that is wanted, and observes.
func night(ctx context.Context, address string, homing bool, out io.Writer) error {
	mount, err := dial(address)
	if err != nil {
		return err
	}
	defer mount.conn.Close()
	rig := keepclear.Rig("heron", keepclear.Mount{Read: mount.Sample, Stop: mount.Stop},
		keepclear.At(address), keepclear.Asker("night script"), // its name on record
		keepclear.Attended("A. Person"), // who can reach the power switch; without it the rig file must be proved
		keepclear.Practice())            // for the simulated rig only
	defer rig.Close()
	if _, err := rig.TakeOver(ctx); err != nil { // after a restart: the next question replaces what this program left open
		return err
	}
	if homing {
		if err := home(ctx, rig, mount, out); err != nil {
			return err
		}
	}
	return observe(ctx, rig, mount, out)
}

// observe asks for one star, and goes there if it may.
func observe(ctx context.Context, rig *keepclear.Handle, mount *mount, out io.Writer) error {
	answer := rig.Slew(ctx, keepclear.ICRS(37.95, 89.26), time.Minute)
	fmt.Fprintln(out, answer) // verdict, why with number and limit, what to do, what would pass instead
	done := answer.Move(ctx, func(ctx context.Context, p *pb.Permit) error {
		return mount.Slew(ctx, p.GetAction().GetSlew().GetSky()) // on an allow only; ctx ends when the permit is taken back
	})
	fmt.Fprintln(out, done) // done, not moved (why), stopped (why)
	return mount.StopAndSay(ctx, rig)
}

// home has the mount find its marks, and tells the service that it did.
func home(ctx context.Context, rig *keepclear.Handle, mount *mount, out io.Writer) error {
	answer := rig.Home(ctx)
	fmt.Fprintln(out, answer)
	done := answer.Move(ctx, func(ctx context.Context, _ *pb.Permit) error { return mount.Home(ctx) })
	fmt.Fprintln(out, done)
	if !done.Moved || done.Err != nil {
		return done.Err
	}
	sample, err := mount.Sample(ctx)
	if err != nil {
		return err
	}
	// By a sensor: the axes are at home's angles of the rig file. A person who looked is HOMED_BY_ATTESTED, with a name.
	_, err = rig.Report(ctx, &pb.ReportRequest{Sample: sample, Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}}})
	return err
}
