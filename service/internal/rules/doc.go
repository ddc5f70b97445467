// Package rules judges facts by the Rego rules of the policies folder; it is the only room that knows OPA.
//
// Load reads the rules, refuses what is not of the fixed shape (one default hold, one body, comparisons and type checks
// only), what lacks a rule that some action requires, and what asks for time, network or randomness. Judge then says for
// every loaded rule whether it applies (Go decides that, from the rule's METADATA and the question), and if so what it
// found. There is one finding for every loaded rule, always: a rule that errs, is late, answers in a wrong shape or not at
// all becomes a hold that names it.
//
// The fast way: for each set of limits the conditions under which rules pass are worked out once (Prove: partial
// evaluation), compared with the rules' full evaluation at every edge of these limits, and then held against the facts of
// each question; only rules that do not pass so are asked of OPA, one by one, in full. There a "pass" would contradict the
// first answer, and holds. Before that, or where it finds a fault, every rule is asked in full.
//
// Facts come in degrees, millimetres and seconds, as their names say. They are rounded to 15 significant digits toward
// danger before they are judged; what is not finite never reaches OPA. It computes no facts and gives no verdict.
package rules
