// Package facts works out what a question would physically do: a pure function of the question, a snapshot of what is known, the
// rig, the limits and the sky. No clock, no log, no file: the same inputs give the same facts, which is what makes the record
// replayable.
//
// A fact is one number or word under a name that ends with its unit (degrees on this side of the edge, for rules and people);
// a fact that cannot be had is missing, with the reason and what would supply it, and never a number that looks like one. Where a
// question has several ends or ways the fact is the worst of them and names which. The *_sharp_* twin of a fact is the same
// without pose uncertainty, from the place where it is best of those where the rig may be: a limit that only the first crosses is a
// hold, one that both cross is a denial.
//
// The package judges nothing: it holds no limit against a fact but where the limit shapes the fact itself (margins of a pair,
// spare time).
package facts
