package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
)

// An entry of the record tells by digests what judged it: that it was another thing, and not what. Beside the record, in the folder of its name and
// -revisions, stands what they are of, once each:
//
//	limits-HEX.json       every limit in force, by area, rule and name; its SHA-256 is HEX
//	rules-HEX.txt         the rules and the schema of their facts; its SHA-256 is HEX
//	rig-HEX/RIG.yaml      the rig file, and beside it the class file that it names; check of it says HEX. Meshes are left out: they are large
//	                      (it is rig-RIG.yaml where its class file is called as the rig)
//
// Nothing is judged by it, so that a folder that is gone or cannot be written costs no answer.

// revisionFolder is that folder.
type revisionFolder struct{ path string }

// revisionsOf is the folder of a record.
func revisionsOf(record string) revisionFolder {
	if followed, err := filepath.EvalSymlinks(record); err == nil { // a record has one name
		record = followed
	}
	return revisionFolder{record + "-revisions"}
}

// texts are files beside a rig file, as they were first read.
type texts struct {
	mu  sync.Mutex
	all map[string][]byte
}

// noting opens as open does, and notes YAML as it was first read.
func (t *texts) noting(open rig.Opener) rig.Opener {
	return func(name string) ([]byte, error) {
		content, err := open(name)
		t.mu.Lock()
		defer t.mu.Unlock()
		if _, seen := t.all[name]; err == nil && !seen && filepath.Ext(name) == ".yaml" {
			if t.all == nil {
				t.all = map[string][]byte{}
			}
			t.all[name] = content
		}
		return content, err
	}
}

// has tells whether a file was read.
func (t *texts) has(name string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	_, read := t.all[name]
	return read
}

// keep puts what judges the rigs into the folder, as far as it is not there. members were made of files, in their order.
func (v revisionFolder) keep(members []decide.Member, files []rigFile) error {
	var all []error
	all = append(all, os.MkdirAll(v.path, 0o700), v.tidy())
	for i, m := range members {
		all = append(all, v.keepFile("limits-"+m.Revs["limits"]+".json", m.Limits.JSON()))
		if i < len(files) { // a rig that was made of no file has none
			all = append(all, v.keepRig(m, files[i]))
		}
	}
	text, err := rules.Text(policies.Files())
	sum := sha256.Sum256(text)
	if all = append(all, err); err == nil {
		all = append(all, v.keepFile("rules-"+hex.EncodeToString(sum[:])+".txt", text))
	}
	if err := errors.Join(all...); err != nil {
		return fmt.Errorf("keeping what the record's digests stand for: %w", err)
	}
	return nil
}

// tidy takes out what a start that broke off had begun to keep. One process has the record, so nobody writes it now.
func (v revisionFolder) tidy() error {
	var all []error
	for _, of := range []string{"new-*", "*.new", filepath.Join("rig-*", "*.new")} {
		left, err := fs.Glob(os.DirFS(v.path), of)
		all = append(all, err)
		for _, name := range left {
			all = append(all, os.RemoveAll(filepath.Join(v.path, name)))
		}
	}
	return errors.Join(all...)
}

// keepRig keeps a rig file with the class file that it names.
func (v revisionFolder) keepRig(m decide.Member, file rigFile) error {
	folder := "rig-" + m.Revs["rig"]
	all := map[string][]byte{}
	if file.others != nil {
		file.others.mu.Lock()
		maps.Copy(all, file.others.all)
		file.others.mu.Unlock()
	}
	name := m.Rig.ID + ".yaml"
	for all[name] != nil { // the class file is called so: the rig file finds it by that name
		name = "rig-" + name
	}
	all[name] = file.content
	if _, err := os.Stat(filepath.Join(v.path, folder)); err == nil {
		var bad error
		for name, content := range all {
			bad = errors.Join(bad, v.keepFile(filepath.Join(folder, name), content))
		}
		return bad
	}
	draft, err := os.MkdirTemp(v.path, "new-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(draft) // there is nothing to remove once it has its name
	for name, content := range all {
		if err := writeFlushed(filepath.Join(draft, name), content); err != nil {
			return err
		}
	}
	return errors.Join(flushFolder(draft), os.Rename(draft, filepath.Join(v.path, folder)), flushFolder(v.path))
}

// keepFile keeps one file, whole or not at all. One that is there is looked at: spoilt, it would tell nobody what a later change is a change of.
func (v revisionFolder) keepFile(name string, content []byte) error {
	path := filepath.Join(v.path, name)
	kept, err := v.read(name)
	if err == nil && bytes.Equal(kept, content) {
		return nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, errOther) {
		return err
	}
	if err := writeFlushed(path+".new", content); err != nil {
		return err
	}
	return errors.Join(os.Rename(path+".new", path), flushFolder(filepath.Dir(path)))
}

// writeFlushed writes a file so that it is on disk before it gets its name: a cut of the power would else leave an empty one under it.
func writeFlushed(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	return errors.Join(err, f.Sync(), f.Close())
}

// flushFolder has the names in a folder on disk: a cut of the power would else leave a rig's folder without its file.
func flushFolder(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// differs says how the file, the limits or the rules of a rig differ from those of an earlier digest, as far as these were kept.
func (v revisionFolder) differs(m decide.Member, of, was string) string {
	digests := fmt.Sprintf("%.8s… before, %.8s… now", was, m.Revs[of])
	if of != "limits" {
		return map[string]string{"rig": "the rig file", "rules": "the rules"}[of] + " (" + digests + ")"
	}
	before, err := v.limits(was)
	now, bad := flat(m.Limits.JSON())
	if err != nil || bad != nil {
		return "the limits (" + digests + "; what they were cannot be read in " + filepath.Base(v.path) + ": some may be LOOSER)"
	}
	all := moved(before, now, m.Limits)
	if len(all) == 0 { // written otherwise, or something that is no number
		return "the limits (" + digests + "; every number is as it was)"
	}
	return "the limits: " + strings.Join(all, ", ") // no digests: what moved for all rigs alike is told once for all
}

// mostMoved bounds the limits that are told one by one. Choice: a line or two; all of them are in the folder.
const mostMoved = 8

// moved says which limits are others than before, the looser ones first.
func moved(before, now map[[2]string]float64, set limits.Set) []string {
	var looser, rest []string
	for _, key := range slices.SortedFunc(maps.Keys(now), func(a, b [2]string) int { return slices.Compare(a[:], b[:]) }) {
		was, known := before[key]
		l, _ := set.Limit(key[0], key[1])
		switch is := now[key]; {
		case !known:
			rest = append(rest, fmt.Sprintf("%s %s is new, %v", key[0], key[1], is))
		case l.SmallerIsSafer && is > was || !l.SmallerIsSafer && is < was:
			looser = append(looser, fmt.Sprintf("%s %s was %v and is %v (LOOSER)", key[0], key[1], was, is))
		case is != was:
			rest = append(rest, fmt.Sprintf("%s %s was %v and is %v", key[0], key[1], was, is))
		}
	}
	for _, key := range slices.SortedFunc(maps.Keys(before), func(a, b [2]string) int { return slices.Compare(a[:], b[:]) }) {
		if _, there := now[key]; !there {
			rest = append(rest, fmt.Sprintf("%s %s is none any more, it was %v", key[0], key[1], before[key]))
		}
	}
	out := append(looser, rest...)
	if more := len(out) - mostMoved; more > 0 {
		out = append(out[:mostMoved], fmt.Sprintf("and %d more", more))
	}
	return out
}

// errOther is the error of a kept file that is not what its name says.
var errOther = errors.New("it is not what its name says")

// limits returns the limits of a digest, by rule and name.
func (v revisionFolder) limits(digest string) (map[[2]string]float64, error) {
	content, err := beside(v.path)("limits-" + digest + ".json")
	if err != nil {
		return nil, err
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != digest {
		return nil, errOther
	}
	return flat(content)
}

// flat reads limits as rules see them: {"sky":{"floor":{"altitude_deg":-3}}} is sky/floor, altitude_deg.
func flat(tree []byte) (map[[2]string]float64, error) {
	var all map[string]any
	if err := json.Unmarshal(tree, &all); err != nil {
		return nil, err
	}
	out := map[[2]string]float64{}
	var under func(path string, at map[string]any)
	under = func(path string, at map[string]any) {
		for name, v := range at {
			switch v := v.(type) {
			case float64:
				out[[2]string{path, name}] = v
			case map[string]any:
				under(strings.TrimPrefix(path+"/"+name, "/"), v)
			}
		}
	}
	under("", all)
	return out, nil
}

// revised says which rigs are judged otherwise than when they were last served, those with the same words together.
func revised(d *decide.Decider) []string {
	whom := map[string][]string{}
	all := d.Revised()
	for _, rig := range slices.Sorted(maps.Keys(all)) {
		whom[all[rig]] = append(whom[all[rig]], rig)
	}
	var out []string
	for _, what := range slices.SortedFunc(maps.Keys(whom), func(a, b string) int { return strings.Compare(whom[a][0], whom[b][0]) }) {
		lines := folded("CHANGED since the last start: ", 2, fmt.Sprintf("%s: %s.", strings.Join(whom[what], ", "), what))
		out = append(out, "\n"+strings.Join(lines, "\n"))
	}
	return out
}
