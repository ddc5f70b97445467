// Package nights plays nights that are written as text: testdata/nights/*.txt, whose language testdata/README.md describes. A night
// drives a real decider over a real record with a simulated mount on a clock of its own, asks, and holds every answer against what
// the text wants: the verdict, the rules that object, words of the sentence, the state of the pose and the permit.
//
// It judges nothing by itself, and is imported by tests alone.
package nights
