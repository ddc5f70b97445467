// Mutate changes the code of the rooms that judge, one small thing at a time (a mutant), and runs the fast tests: a mutant that no
// test notices (a survivor) is a line whose meaning nothing asserts. Survivors are killed with a test or listed, with the
// reason, in .ci/survivors. It fails on a survivor that is not listed, on a listed one that is killed, and on a listed one that
// is no longer there, so that the list cannot rot.
//
//	go run ./.ci/mutate                     every room and every Rego rule: an hour or more
//	go run ./.ci/mutate decide policies     some rooms
//	go run ./.ci/mutate -sample 300 -seed 7 -within 110s   a sample drawn by lot, as many as fit in the time
//	go run ./.ci/mutate -list verdict       the mutants, untried
//	go run ./.ci/mutate -own -budget 5s decide >log        in a hurry: the room's own tests alone, and of these the quickest
//	go run ./.ci/mutate -again log decide   again what that run called a survivor
//
// The tree is never edited. All mutants of a room are built into one test binary by way of -overlay: each place asks at run
// time, by an environment variable, whether it is the changed one. One run of each test tells which places it reaches (seen.go); a
// mutant is tried with those tests alone, the quickest first. Rego rules are tried in this process, with OPA's own tester; what
// their tests leave alive goes to the Go tests with the policies read from a changed copy of what is built in (policies/embed.go).
// A test that is red with nothing changed ends the run: it would call every mutant killed.
//
// What is changed, Go: comparisons (< to <=, >=; == to !=), conditions of if, case and return (taken as true, as false), each part of && and ||
// left out, signs (+ and -, * and /, unary minus), whole numbers (plus and minus one), other numbers (doubled, zero), named
// constants likewise, true and false, min and max, errors returned as nil, assignments and calls left out. && and || are not exchanged: whatever
// notices that notices one part left out. Rego: see rego.go.
//
// Not changed: texts, locks, defers, closing, generated code, and what a struct literal leaves out.
package main
