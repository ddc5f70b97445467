package gauge

// work is what a judgement may do: readings of the file with a length another, and distances of shapes worked out or shapes placed. It is a bound of
// its own, so that what is found does not go by how fast a machine is.
type work struct{ readings, distances int }

// mostReadings bounds how often the file is read. Choice: some five times what an example rig takes; a mesh takes a tenth of a second to read.
const mostReadings = 2000

// affords takes work off what may be done; false where it does not suffice, then and from then on.
func (e *explanation) affords(readings, distances int) bool {
	if e.spent = e.spent || readings > e.may.readings || distances > e.may.distances; e.spent {
		return false
	}
	e.may.readings -= readings
	e.may.distances -= distances
	return true
}

// work is what one gap takes, distances: every body is placed for it.
func (s *Subject) work(k spot) int {
	return s.bodies + len(s.Rig.Parts[k.a].Shapes)*len(s.Rig.Parts[k.b].Shapes)
}
