package main

import "strings"

// Environment of a mutated binary: the mutant that is on, and the file that takes the places reached.
const (
	envOn   = "KEEPCLEAR_MUTANT"
	envSeen = "KEEPCLEAR_MUTANT_SEEN"
	// helperFile is added to a changed package.
	helperFile = "zz_mutant.go"
)

// helpers is the file that is added to a changed package.
func helpers(name string) string {
	text := strings.NewReplacer("PACKAGE", name, "ENV_ON", envOn, "ENV_SEEN", envSeen).Replace(helperText)
	return text
}

const helperText = `package PACKAGE

import (
	"cmp"
	"os"
	"strconv"
	"sync"
)

var (
	zzOn, _ = strconv.Atoi(os.Getenv("ENV_ON"))
	zzTell  = os.Getenv("ENV_SEEN")
	zzSeen  sync.Map
)

// zz tells whether a mutant is on.
func zz(id int) bool {
	if zzTell != "" {
		zzReached(id)
	}
	return id == zzOn
}

func zzReached(id int) {
	if _, was := zzSeen.LoadOrStore(id, true); was {
		return
	}
	f, err := os.OpenFile(zzTell, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	if _, err := f.WriteString(strconv.Itoa(id) + "\n"); err != nil {
		panic(err)
	}
}

type zzNumber interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 | ~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64 | ~uintptr | ~float32 | ~float64
}

// Each comparison has two mutants: its edge moved, and the opposite.
func zzLss[T cmp.Ordered](id int, a, b T) bool {
	if zz(id) {
		return a <= b
	}
	return zz(id+1) != (a < b)
}

func zzLeq[T cmp.Ordered](id int, a, b T) bool {
	if zz(id) {
		return a < b
	}
	return zz(id+1) != (a <= b)
}

func zzGtr[T cmp.Ordered](id int, a, b T) bool {
	if zz(id) {
		return a >= b
	}
	return zz(id+1) != (a > b)
}

func zzGeq[T cmp.Ordered](id int, a, b T) bool {
	if zz(id) {
		return a > b
	}
	return zz(id+1) != (a >= b)
}

func zzAdd[T zzNumber](id int, a, b T) T {
	if zz(id) {
		return a - b
	}
	return a + b
}

func zzSub[T zzNumber](id int, a, b T) T {
	if zz(id) {
		return a + b
	}
	return a - b
}

func zzMul[T zzNumber](id int, a, b T) T {
	if zz(id) {
		return a / b
	}
	return a * b
}

func zzQuo[T zzNumber](id int, a, b T) T {
	if zz(id) {
		return a * b
	}
	return a / b
}

func zzNeg[T zzNumber](id int, a T) T {
	if zz(id) {
		return a
	}
	return -a
}

func zzPick[T any](id int, as, one, two T) T {
	if zz(id) {
		return one
	}
	if zz(id + 1) {
		return two
	}
	return as
}

func zzLow[T cmp.Ordered](id int, a T, more ...T) T {
	high := zz(id)
	for _, b := range more {
		if high {
			a = max(a, b)
		} else {
			a = min(a, b)
		}
	}
	return a
}

func zzHigh[T cmp.Ordered](id int, a T, more ...T) T {
	low := zz(id)
	for _, b := range more {
		if low {
			a = min(a, b)
		} else {
			a = max(a, b)
		}
	}
	return a
}

func zzNil(id int, err error) error {
	if zz(id) {
		return nil
	}
	return err
}
`
