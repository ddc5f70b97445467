// Package limits merges the numbers that rules compare with: the defaults that come with the policies, what the facility
// sets, what the class of rigs sets, and what the rig sets.
//
// Limits are data. Each has its unit in its name, a default, a safe direction, a hard bound, and a reason; a name counts
// within its rule. A lower layer may only tighten what the layers above it left: in this version no file loosens. A looser
// value, a name that nobody knows, text for a number, a number that is not finite: each is a fault with file, line, key,
// what was wanted, what was got and what to do, and all of them are reported at once. With any fault there is no set.
//
// The set is what Rego sees as data.limits, and what the rooms that compute facts read where a limit is part of the
// computation (the clearance margins, how far two solves may disagree). Its digest goes into every record entry.
//
// It reads no disk (files come in as a file system or as bytes) and judges nothing.
package limits
