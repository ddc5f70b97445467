// Package season plays practice nights and scores what a gate made of them: whole nights of an invented rig with every error that real
// ones have, a solver whose solves are sometimes false, and a good program that asks before every motion and every sync.
//
// A night is drawn from a seed by the figures of one table (table.yaml), all of them invented. What the rig truly does is known exactly,
// so what each accepted solve did to the mount's belief over the ground is too. Seeds 1 to 999 are there to tune the gate on, those from
// 1,000,000 to judge it by; nobody tunes on the latter.
//
// It changes nothing of the gate and knows nothing of its rules: it asks, and does what it is told.
package season
