package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"debug/elf"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rpc"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/timescale"
)

// rigFile is one rig file as read.
type rigFile struct {
	name    string
	content []byte
	open    rig.Opener
	limits  []byte // of the facility, as they were read beside it; nil: there are none
	others  *texts // that it named, as they were first read; nil: nobody notes them
}

// limitsFile holds the facility's limits in a folder of rig files.
const limitsFile = "limits.yaml"

// readRigs reads every rig file (*.yaml but limits.yaml and class files, whose first key is "class") of a folder, and its
// facility limits, which may be absent. What can be read comes beside the fault of what cannot.
func readRigs(dir string) (files []rigFile, facility *limits.Layer, faults error) {
	listed, err := os.ReadDir(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("reading the folder of rig files: %w; name the folder with --rigs, or try serve --practice heron", err)
	}
	var common []byte
	for _, one := range listed { // in the order of their names
		base := one.Name()
		path := filepath.Join(dir, base)
		if bad := misplaced(path); bad != nil {
			faults = errors.Join(faults, bad)
			continue
		}
		if strings.EqualFold(filepath.Ext(base), ".yml") || strings.EqualFold(filepath.Ext(base), ".yaml") && filepath.Ext(base) != ".yaml" {
			faults = errors.Join(faults, fmt.Errorf("%s would not be read: rig files are named *.yaml; rename it, or take it out of the folder", path))
			continue
		}
		if filepath.Ext(base) != ".yaml" {
			continue
		}
		content, err := beside(dir)(base)
		if err != nil {
			faults = errors.Join(faults, fmt.Errorf("reading the rig file %s: %w", path, err))
			continue
		}
		switch {
		case base == limitsFile:
			common = content
			l, err := limits.ParseLayer("facility", path, content)
			if err != nil { // the rig files are looked at all the same, so that every fault is told at once
				faults = errors.Join(faults, err)
				continue
			}
			facility = &l
		case !isClass(content):
			others := &texts{}
			files = append(files, rigFile{name: path, content: content, open: others.noting(beside(dir)), others: others})
		}
	}
	for i := range files {
		files[i].limits = common
	}
	if len(files) == 0 && faults == nil {
		return nil, nil, fmt.Errorf("no rig file (*.yaml) in %s: put one there (an empty form: check --blank), or try serve --practice heron", dir)
	}
	return files, facility, faults
}

// isClass tells a class file by its first key. It is read with the rig files that follow it. A file that has the key rig as well is a rig's that names
// its class first: left out, its rig would not be served, without a word.
func isClass(content []byte) bool {
	first, class := true, false
	for line := range strings.Lines(string(content)) {
		if strings.HasPrefix(line, "rig:") {
			return false
		}
		if line = strings.TrimSpace(line); first && line != "" && !strings.HasPrefix(line, "#") {
			first, class = false, strings.HasPrefix(line, "class:")
		}
	}
	return class
}

// unused are the class files of a folder that no rig file which was read names: nothing of them counts, and no fault of theirs is told.
func unused(dir string, files []rigFile) []string {
	var out []string
	for _, base := range yamlFiles(dir) {
		content, err := beside(dir)(base)
		if err != nil || !isClass(content) || slices.ContainsFunc(files, func(f rigFile) bool { return f.others.has(base) }) {
			continue
		}
		out = append(out, filepath.Join(dir, base))
	}
	return out
}

// beside opens files of a folder by bare name. What is no ordinary file (a pipe would never end) or too large is not read at all.
func beside(dir string) rig.Opener {
	return func(name string) ([]byte, error) {
		folder := os.DirFS(dir)
		info, err := fs.Stat(folder, name)
		switch {
		case err != nil:
			return nil, err
		case !info.Mode().IsRegular():
			return nil, fmt.Errorf("%s is no ordinary file", name)
		case info.Size() > rig.LargestOpened:
			return nil, fmt.Errorf("%s has %d bytes, want at most %d", name, info.Size(), rig.LargestOpened)
		}
		return fs.ReadFile(folder, name)
	}
}

// faultsError is a list of faults as one error, one line each.
func faultsError(faults []rig.Fault) error {
	var errs []error
	for _, f := range faults {
		errs = append(errs, f)
	}
	return errors.Join(errs...)
}

// newMembers reads rig files and binds the rules to the limits of each. Every fault of every file is found before any rule is
// compiled. One file that does not load keeps all from being served: a rig that is left out is one that no answer thinks of.
func newMembers(files []rigFile, facility *limits.Layer) ([]decide.Member, error) {
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return nil, err
	}
	var out []decide.Member
	var faulty []string
	var shared error          // what is wrong with the facility's limits, which every rig meets
	by := map[string]string{} // id → the file that describes it
	unbound := sync.OnceValues(func() (rules.Unbound, error) { return rules.ReadUnbound(policies.Files()) })
	var beside sync.WaitGroup
	beside.Go(func() { _, _ = unbound() }) // needs nothing of the rigs
	defer beside.Wait()
	read := readMembers(files, defs, facility)
	for i, f := range files {
		m, bad := read[i].Member, read[i].bad
		own, common := ofLimits(bad, facility)
		if len(common) > 0 {
			shared = common
		}
		if bad = errors.Join(own...); bad == nil && m.Rig != nil && by[m.Rig.ID] != "" {
			bad = sameID(f.name, by[m.Rig.ID], m.Rig.ID)
		}
		if bad != nil {
			faulty, err = append(faulty, f.name), errors.Join(err, bad)
			continue
		}
		by[m.Rig.ID] = f.name
		out = append(out, m)
	}
	if err != nil {
		err = fmt.Errorf("%w\n%s", err, unloaded(faulty, out))
	}
	if err = errors.Join(shared, err); err == nil {
		err = bindRules(out, unbound)
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

// readMember is what came of one rig file.
type readMember struct {
	decide.Member
	bad error
}

// readMembers reads rig files side by side, in their order.
func readMembers(files []rigFile, defs []limits.Definition, facility *limits.Layer) []readMember {
	out := make([]readMember, len(files))
	var next atomic.Int64
	var all sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(files); i = int(next.Add(1)) - 1 {
				out[i].Member, out[i].bad = newMember(files[i], defs, facility)
				runtime.Gosched() // who waited for the disk goes on, and not only after ten milliseconds
			}
		})
	}
	all.Wait()
	shelf := reach.NewShelf() // one: rigs that are built alike share what is proven of them
	for i := range out {
		out[i].Shelf = shelf
	}
	return out
}

// sameID is the fault of a second file that describes a rig.
func sameID(file, first, id string) error {
	return rig.Fault{
		File: file, Key: "rig", Wanted: "an id of its own", Got: fmt.Sprintf("%q, which %s has too", id, first),
		Remedy: "change rig and end in one of the two, or take one out of the folder",
	}
}

// unloaded says which files keep the service from starting, and how to do without them.
func unloaded(faulty []string, good []decide.Member) string {
	them, do := "it", "does"
	if len(faulty) > 1 {
		them, do = "them", "do"
	}
	s := fmt.Sprintf("%s %s not load: mend %s (check FILE says more)", strings.Join(faulty, ", "), do, them)
	var ids []string
	for _, m := range good {
		ids = append(ids, m.Rig.ID)
	}
	if len(ids) > 0 {
		s += fmt.Sprintf(", or move %s out of the folder to serve %s without", them, strings.Join(ids, ", "))
	}
	return s
}

// newMember reads one rig file and merges the limits of its rig; the rules are bound afterwards.
func newMember(f rigFile, defs []limits.Definition, facility *limits.Layer) (decide.Member, error) {
	r, bad := rig.Parse(f.name, f.content, f.open)
	if r == nil {
		return decide.Member{}, faultsError(bad)
	}
	if bad := unjudged(r); len(bad) > 0 {
		return decide.Member{}, faultsError(bad)
	}
	lim, err := limits.Merge(defs, layers(r, facility, f.name)...)
	return decide.Member{Rig: r, Limits: lim}, err
}

// bindRules gives each rig the rules, bound to its limits; proveRules makes them fast.
func bindRules(members []decide.Member, unbound func() (rules.Unbound, error)) error {
	all, err := unbound()
	if err != nil {
		return fmt.Errorf("loading the rules: %w", err)
	}
	for i := range members {
		m := &members[i]
		set, err := all.With(m.Limits)
		if err != nil {
			return fmt.Errorf("loading the rules: %w", err)
		}
		m.Rules, m.Revs = set, revisions(m.Rig, m.Limits, set)
	}
	return nil
}

// proveRules works out the fast way of each rig's rules, until ctx ends. Answers do not wait for it. settle, if any, is called after the first.
func proveRules(ctx context.Context, members []decide.Member, settle func()) error {
	var all []error
	for _, m := range members {
		if p, ok := m.Rules.(interface{ Prove() error }); ok && ctx.Err() == nil {
			if err := p.Prove(); err != nil {
				all = append(all, fmt.Errorf("rig %s: each rule is asked in full, which is slower, and one at fault holds where it would pass: %w", m.Rig.ID, err))
			}
		}
		if settle != nil {
			settle()
			settle = nil
		}
	}
	debug.FreeOSMemory() // reading and proving leave more behind than serving takes
	return errors.Join(all...)
}

// unjudged are faults of a rig file that declares what no rule of this service judges.
func unjudged(r *rig.Rig) []rig.Fault {
	var out []rig.Fault
	at, got := r.Find(rig.NotKnown, "has_no", "", ""), fmt.Sprintf("%q", r.Lacks)
	if at.Line == 0 {
		got = "no such list"
	}
	for _, thing := range rules.Unjudged(policies.Files(), r.Lacks) {
		out = append(out, rig.Fault{
			File: at.File, Line: at.Line, Key: "has_no", Wanted: thing + " in the list: no rule of this service judges any", Got: got,
			Remedy: "add " + thing + "; no answer then thinks of any there may be, so keep the rig clear of it by other means",
		})
	}
	return out
}

// layers are the limits of a rig from the widest to its own: facility, class, rig. The travel that a file states is among its limits.
func layers(r *rig.Rig, facility *limits.Layer, file string) []limits.Layer {
	var out []limits.Layer
	if facility != nil {
		out = append(out, *facility)
	}
	class := limits.Layer{Name: "class " + r.Class}
	own := limits.Layer{Name: "rig " + r.ID, File: file}
	for _, l := range r.Limits {
		e := limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value, Line: l.Line}
		if l.File != file {
			class.File = l.File
			class.Entries = append(class.Entries, e)
			continue
		}
		own.Entries = append(own.Entries, e)
	}
	if len(class.Entries) > 0 {
		out = append(out, class)
	}
	return append(out, own)
}

// revisions are the digests of what judges a rig.
func revisions(r *rig.Rig, lim limits.Set, set *rules.Set) map[string]string {
	limDigest, ruleDigest := lim.Digest(), set.Digest()
	tables := sha256.Sum256([]byte(timescale.BuiltIn().Issued().String()))
	return map[string]string{
		"rig": hex.EncodeToString(r.Digest[:]), "limits": hex.EncodeToString(limDigest[:]), "rules": hex.EncodeToString(ruleDigest[:]),
		"build": buildDigest(), "time tables": hex.EncodeToString(tables[:]),
	}
}

// buildDigest tells one build of the service from another.
var buildDigest = sync.OnceValue(func() string {
	info, _ := debug.ReadBuildInfo()
	return digestOf(buildOf(info, os.Executable))
})

// buildOf is what a build tells of itself: versions of all modules, compiler, settings, revision. Without a revision, or with sources changed since,
// two sources tell the same: then what the linker wrote of all that it put together counts too, or else the program's own bytes.
func buildOf(info *debug.BuildInfo, program func() (string, error)) string {
	of, clean := "unknown", false
	if info != nil {
		of = info.String()
		clean = slices.Contains(info.Settings, debug.BuildSetting{Key: "vcs.modified", Value: "false"})
	}
	if clean {
		return of
	}
	if id, err := linkedID(program); err == nil {
		return of + id
	}
	own, err := ofFileBytes(program)
	if err != nil {
		return of
	}
	return of + own
}

// linkedID is the Go linker's build id of a program, which it makes of digests of what goes in and of what comes out. To read it takes 0.04 ms, and
// the digest of the program's 63 MB 52 to 70 (29 November 2026, busy machine), at every start. It stands in a note (ELF, System V gABI, chapter 5,
// "Note Section"), type 4, name "Go".
func linkedID(name func() (string, error)) (string, error) {
	path, err := name()
	if err != nil {
		return "", err
	}
	f, err := elf.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type != elf.PT_NOTE || p.Filesz > mostNotes {
			continue
		}
		notes := make([]byte, p.Filesz)
		if _, err := io.ReadFull(p.Open(), notes); err != nil {
			return "", err
		}
		if id := goNote(f.ByteOrder, notes); id != "" {
			return id, nil
		}
	}
	return "", errors.New("no build id")
}

// mostNotes bounds what is read of notes, bytes: far above what they take.
const mostNotes = 1 << 16

// goNote finds the build id among notes; empty: none.
func goNote(order binary.ByteOrder, notes []byte) string {
	up := func(n uint32) uint64 { return (uint64(n) + 3) &^ 3 } // each part is padded to four bytes
	for len(notes) >= 12 {
		name, desc, kind := order.Uint32(notes), order.Uint32(notes[4:]), order.Uint32(notes[8:])
		notes = notes[12:]
		if up(name)+up(desc) > uint64(len(notes)) {
			return ""
		}
		if kind == 4 && string(notes[:name]) == "Go\x00\x00" {
			return string(notes[up(name):][:desc])
		}
		notes = notes[up(name)+up(desc):]
	}
	return ""
}

// ofFileBytes is the digest of a file, read piece by piece: a program is larger than the memory that it may have.
func ofFileBytes(name func() (string, error)) (string, error) {
	path, err := name()
	if err != nil {
		return "", err
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	d := sha256.New()
	if _, err := io.Copy(d, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(d.Sum(nil)), nil
}

func digestOf(s string) string {
	d := sha256.Sum256([]byte(s))
	return hex.EncodeToString(d[:])
}

// newMoment returns the sky by the built-in tables: UT1 within its bound of UTC. The last ones are kept: each question asks several times for
// those of the same few instants.
func newMoment() func(time.Time) (*sky.Moment, error) {
	type dated struct {
		at  time.Time
		sky *sky.Moment
	}
	var last [256]atomic.Pointer[dated]
	table := timescale.BuiltIn()
	return func(t time.Time) (*sky.Moment, error) {
		t = t.Round(0) // by its date
		slot := &last[uint64(t.UnixNano())*0x9e3779b97f4a7c15>>56]
		if m := slot.Load(); m != nil && m.at.Equal(t) {
			return m.sky, nil
		}
		i, err := timescale.New(t, table)
		if err != nil {
			return nil, err
		}
		m := &dated{t, sky.At(i, timescale.UT1{})}
		slot.Store(m)
		return m.sky, nil
	}
}

// newID makes an id that nobody can guess: 128 random bits.
func newID() string {
	var b [16]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	return hex.EncodeToString(b[:])
}

// keeping is an open record with the decider that it asks, which is there before the first append.
type keeping struct {
	record  *record.Record
	decider *decide.Decider
	whole   bool // what it had lost, if anything, was taken in
}

// openRecord opens the record at a path. It needs nothing of the rigs.
func openRecord(path string) (*keeping, error) {
	k := &keeping{}
	var err error
	k.record, err = record.Open(path, record.Options{
		KeepHeads: func() bool { return k.whole },
		Fold:      state.NewRefold,
		State:     func(chain string, on record.Head) []byte { return k.decider.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error {
			if err := k.decider.Refold(); err != nil {
				return err
			}
			// What was taken back while the record was down is not in it, so all of it is taken back.
			k.decider.Withdraw("", decide.Ourselves, "the record was down: what happened meanwhile is not on it", state.Exchanged{})
			return nil
		},
	})
	if errors.Is(err, record.ErrWrong) || store.IsDamaged(err) {
		err = fmt.Errorf("%w\n%s", err, ifWrong(path))
	}
	return k, err
}

// ifWrong says what to do about a record of which an entry is not what was written.
func ifWrong(path string) string {
	return fmt.Sprintf(`Nothing is served from it: what it says of rigs and locks may not be so. What to do:
  verify %[1]s says how far it is whole;
  keep it with what lies beside it (%[1]s-*) as it is, as evidence: move them to a folder of their own;
  then put a copy from before it was damaged in its place, or begin a new record with --record OTHER.
Poses begin unknown in a new one, and locks are not in it: look at every rig, and home it.`, path)
}

// opening is a record on its way to being open, beside what needs nothing of it.
type opening struct {
	open  func() (*keeping, error)
	begun bool
	taken bool // by somebody who closes it
}

// openBeside begins to open a record that is there already. A new one waits until it is its turn, and so does one of an older version: a start that is
// refused for its rig files leaves none behind, and none that the program before this one cannot read.
func openBeside(path string, beside *sync.WaitGroup) *opening {
	o := &opening{open: sync.OnceValues(func() (*keeping, error) { return openRecord(path) })}
	if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() && store.IsCurrent(path) {
		o.begun = true
		beside.Go(func() { _, _ = o.open() })
	}
	return o
}

// take waits until the record is open. It is the caller's from then on.
func (o *opening) take() (*keeping, error) {
	o.taken = true
	return o.open()
}

// drop closes what nobody took. What is wrong with it is told at the start that wants it.
func (o *opening) drop() {
	if !o.begun || o.taken {
		return
	}
	if k, err := o.open(); err == nil {
		_ = k.record.Close()
	}
}

// decideOn folds the record, and takes back what was open when the service stopped. On an error the record is closed.
func (k *keeping) decideOn(path string, members []decide.Member, now, here func() time.Time, clock clockReader) error {
	rigs := map[string]*rig.Rig{}
	for _, m := range members {
		rigs[m.Rig.ID] = m.Rig
	}
	if err := keepFirst(k.record, path); err != nil {
		return errors.Join(err, k.record.Close())
	}
	d, err := decide.New(decide.Parts{
		Record: k.record, Members: members, Moment: newMoment(), Now: now, Here: here, Clock: clock, Up: newUptime(bootIDFile), NewID: newID, Cells: int(reach.DefaultBudget),
		Encode: rpc.Encode(func(name string) (*rig.Rig, bool) { r, ok := rigs[name]; return r, ok }), Differs: revisionsOf(path).differs,
	})
	k.decider = d
	if err == nil {
		err = takeLoss(k.record, d, path)
	}
	if err == nil {
		k.whole = true
		err = d.WithdrawAfterRestart()
	}
	if err != nil {
		return errors.Join(err, k.record.Close())
	}
	return nil
}
