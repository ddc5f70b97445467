// Package decide takes the turns: questions, reports, locks and withdrawals of one group of rigs (here: of one rig) come one after
// the other, each judged on the state that the one before left, appended to the record on the head that it was judged on, and
// folded in. Flushes are waited for outside the turn, so that many askers share one.
//
// It is the only room that changes what the service holds. An answer leaves only after its entry is on disk; a failed flush fails
// the answer and all behind it, and what is held is folded anew from the record. Withdraw alone changes memory first and records
// afterwards: taking leave back must never wait.
//
// It computes no geometry, evaluates no rule and knows no wire format: those come in.
package decide
