// Package sim plays whole nights of the service from one seed: its clock, its disk, the network between it and its askers, what the
// mounts truly do, what persons do, and the order in which all of it happens. It is for tests only.
//
// One seed gives one history, byte for byte. A night runs in a bubble of testing/synctest, whose clock it goes by; one goroutine, the
// world, takes event after event from a queue and waits after each until everything is still. Askers are coroutines of it. The service
// is the real one from the bytes of a request to the rows of its record: only the disk below SQLite (faults.Drive), the clock and the
// network are made here.
//
// A goroutine that waits for a mutex is not still in the eyes of synctest, so the service may hold none over a wait for the disk that another
// goroutine wants meanwhile: a night that does so hangs.
//
// What it does not do: threads that race (each event is over before the next begins), file systems, TLS, streams. Kill, power cut and
// n-th operation on real ones are the business of store, record and service.
//
//	world    the queue of events and the history
//	plan     what is drawn from the seed: rigs, faults, the network's habits
//	site     the service and its machine: started, killed, its disk and its clock
//	wires    requests and replies: late, lost, doubled, out of order
//	field    a mount as it truly is, and how near it came to anything
//	program  an asker that works through a night
//	person   who locks, releases, and puts right what programs cannot
//	judge    the invariants, held against every reply and the record
package sim
