package season

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// fault draws one fault by its name. What lasts all night begins with it.
func (t *Table) fault(g *rand.Rand, l *Lot, name string) Fault {
	at := l.part(g, 0.1, 0.85)
	f := Fault{Name: name, At: at, Words: name}
	axis := func(size float64) rig.Axes {
		v := math.Copysign(size, g.Float64()-0.5)
		if g.IntN(2) == 0 {
			return rig.DegAxes(v, 0)
		}
		return rig.DegAxes(0, v)
	}
	switch name {
	case "clutch slips":
		by := axis(t.draw(g, "slip_deg"))
		f.Words += fmt.Sprintf(" by %s", by)
		f.strike = func(n *night) { n.slips(by) }
	case "steps lost":
		by := axis(t.draw(g, "lost_deg"))
		f.Words += fmt.Sprintf(": %s", by.Abs())
		f.strike = func(n *night) { n.mount.LoseSteps(by); n.turnsUnseen() }
	case "tripod kicked":
		by := anyDirection(g).Scale(float64(unit.Deg(t.draw(g, "kick_deg"))))
		f.Words += fmt.Sprintf(" by %.2f°", unit.Angle(by.Norm()).Deg())
		f.strike = func(n *night) { n.mount.Kick(by); n.kicked = true }
	case "mount clock", "computer clock", "both clocks":
		t.clock(g, l, &f)
	case "mount longitude", "mount latitude", "site alike":
		t.site(g, l, &f)
	default:
		t.habit(g, l, &f)
	}
	if f.strike == nil {
		panic(fmt.Sprintf("season: there is no fault %q", name))
	}
	if f.Words != "" && f.At.After(l.Start) {
		f.Words += " at " + f.At.Format("15:04")
	}
	return f
}

// anyDirection draws a direction, each as likely.
func anyDirection(g *rand.Rand) frame.Vec[frame.Rig] {
	z, a := 2*g.Float64()-1, 2*math.Pi*g.Float64()
	r := math.Sqrt(1 - z*z)
	return frame.Vec[frame.Rig]{X: r * math.Cos(a), Y: r * math.Sin(a), Z: z}
}

// clock makes a clock wrong: from the start, or, the mount's alone, now and then later, as after a restart.
func (t *Table) clock(g *rand.Rand, l *Lot, f *Fault) {
	off := minutes(math.Copysign(1, g.Float64()-0.5) * t.draw(g, "clock_off_min"))
	f.Words += fmt.Sprintf(" off by %s", off.Round(time.Second))
	if f.Name != "mount clock" || g.IntN(3) > 0 {
		f.At = l.Start
	}
	f.strike = func(n *night) {
		if f.Name != "computer clock" {
			n.mount.ClockAhead += off
		}
		if f.Name != "mount clock" {
			n.skew += off
		}
	}
}

// site makes a longitude or a latitude wrong: the mount's, or that of the rig file and the mount alike.
func (t *Table) site(g *rand.Rand, l *Lot, f *Fault) {
	f.At = l.Start
	sign, lon, lat := t.word(g, "longitude_off") == "sign", unit.Deg(t.draw(g, "longitude_off_deg")), unit.Deg(t.draw(g, "latitude_off_deg"))
	if f.Name == "mount latitude" {
		f.Words += fmt.Sprintf(" off by %.2f°", lat.Deg())
		f.strike = func(n *night) { n.mount.Site.Lat += lat }
		return
	}
	f.Words += fmt.Sprintf(" off by %.2f°", lon.Deg())
	if sign && f.Name == "mount longitude" {
		f.Words = f.Name + " with the wrong sign"
	}
	f.strike = func(n *night) {
		switch {
		case f.Name == "site alike": // the rig stands elsewhere than both say
			n.standsAt(-lon)
		case sign:
			n.mount.Site.Lon = -n.mount.Site.Lon
		default:
			n.mount.Site.Lon += lon
		}
	}
}

// habit is what a mount or a program does with syncs all night, or a second program once.
func (t *Table) habit(g *rand.Rand, l *Lot, f *Fault) {
	part, averages, second, way := t.draw(g, "sync_part"), int(t.draw(g, "sync_averages")), unit.Deg(t.draw(g, "second_sync_deg")), 2*math.Pi*g.Float64()
	at := f.At
	f.At = l.Start
	switch f.Name {
	case "frames":
		f.strike = func(n *night) { n.mixesFrames = true }
	case "sync ignored":
		f.strike = func(n *night) { n.mount.SyncMissed = 1 }
	case "sync averaged":
		f.Words += fmt.Sprintf(" over %d", averages)
		f.strike = func(n *night) { n.mount.Averages = averages }
	case "sync in part":
		f.Words += fmt.Sprintf(": %.0f %%", 100*part)
		f.strike = func(n *night) { n.mount.SyncMissed = 1 - part }
	case "second program":
		f.At = at
		f.Words += fmt.Sprintf(" syncs %.2f° off", second.Deg())
		f.strike = func(n *night) { n.secondSync(second, unit.Angle(way)) }
	}
}
