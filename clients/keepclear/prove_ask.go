package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// This file reads what a person types: one line for each question, asked again until it is understood.

// longestLine bounds what is taken for one line, bytes.
const longestLine = 4096

// lines reads what is typed, line by line, so that an interrupt need not wait for Enter. It is closed at the end of the input.
func lines(in io.Reader) <-chan string {
	out := make(chan string)
	go func() {
		defer close(out)
		s := bufio.NewScanner(in)
		s.Buffer(nil, longestLine)
		for s.Scan() {
			out <- s.Text()
		}
	}()
	return out
}

// line asks a question and returns the line that is typed. The end of the input, an interrupt and the word stop end the evening.
func (p *proof) line(question string) (string, error) {
	p.say("%s", question)
	select {
	case <-p.ctx.Done():
		return "", errStopped
	case text, more := <-p.lines:
		text = strings.ToLower(strings.TrimSpace(text))
		if !more || text == "stop" || text == "quit" || text == "exit" {
			return "", errStopped
		}
		return text, nil
	}
}

// toward asks for one of some directions.
func (p *proof) toward(question string, words []string) (pb.Toward, error) {
	for {
		text, err := p.line(question + " (" + strings.Join(words, ", ") + ")")
		if err != nil {
			return 0, err
		}
		if found := slices.IndexFunc(words, func(w string) bool { return w == text || len(text) == 1 && w[:1] == text && unlike(words, text) }); found >= 0 {
			return pb.Toward(pb.Toward_value["TOWARD_"+strings.ToUpper(words[found])]), nil
		}
		p.say("%s is none of them. If you are not sure, type stop and look again.", asTyped(text))
	}
}

// unlike tells whether only one word begins with a letter.
func unlike(words []string, letter string) bool {
	n := 0
	for _, w := range words {
		if strings.HasPrefix(w, letter) {
			n++
		}
	}
	return n == 1
}

// longest is the longest gap that is taken for one, mm: that of the API.
const longest = 20_000

// length asks for a length in millimetres.
func (p *proof) length(question string) (float64, error) {
	for {
		text, err := p.line(question)
		if err != nil {
			return 0, err
		}
		mm, why := millimetres(text)
		if why == "" {
			return mm, nil
		}
		p.say("%s", why)
	}
}

// lengthWanted says what a length looks like.
const lengthWanted = "a length in mm is wanted, like 125 or 12.5"

// lengthUnits are those that people write, the longer names first.
var lengthUnits = []struct {
	name string
	mm   float64
}{{"mm", 1}, {"cm", 10}, {"m", 1000}, {"inches", inch}, {"inch", inch}, {"in", inch}, {`"`, inch}}

// inch is 25.4 mm exactly (the international yard and pound agreement, 1959).
const inch = 25.4

// millimetres reads a length as people write it: 12.5, 12,5, 12.5 mm, 1.2 cm, 0.3 m, 5 in. Why it is none, in a sentence.
func millimetres(text string) (mm float64, why string) {
	if text == "" {
		return 0, "Nothing was typed: " + lengthWanted + "."
	}
	number, scale := strings.TrimSpace(text), 1.0
	for _, u := range lengthUnits {
		if rest, is := strings.CutSuffix(number, u.name); is {
			number, scale = strings.TrimSpace(rest), u.mm
			break
		}
	}
	if whole, part, comma := strings.Cut(number, ","); comma && !strings.ContainsAny(number, ".") {
		if len(part) == 3 && whole != "0" { // 1,250 is a metre and a quarter to one and a millimetre and a quarter to another
			return 0, fmt.Sprintf("%s may mean %s or %s.%s: write it without the comma.", asTyped(text), whole+part, whole, part)
		}
		number = whole + "." + part
	}
	v, err := strconv.ParseFloat(plainMinus(number), 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(number, "_xXpP"): // the letters are what only programs write
		return 0, asTyped(text) + " is no length: " + lengthWanted + "."
	case v < 0:
		return 0, asTyped(text) + " is less than nothing: " + lengthWanted + "."
	case v*scale > longest:
		return 0, fmt.Sprintf("%s is more than %d m: %s.", asTyped(text), longest/1000, lengthWanted)
	}
	return v * scale, ""
}

// asTyped quotes what was typed, so that it moves no cursor and stays short.
func asTyped(text string) string {
	const most = 30
	if utf8.RuneCountInString(text) > most {
		text = string([]rune(text)[:most]) + "…"
	}
	return strconv.Quote(text)
}

// yes asks for a yes or a no.
func (p *proof) yes(question string) (bool, error) {
	for {
		text, err := p.line(question)
		switch {
		case err != nil:
			return false, err
		case text == "yes" || text == "y":
			return true, nil
		case text == "no" || text == "n":
			return false, nil
		}
		p.say("yes or no is wanted, or stop.")
	}
}

// name asks who looked and measured, where that was not told at the start.
func (p *proof) name() (string, error) {
	for p.person == "" {
		p.say("Who looked and measured? Your name goes on record.")
		select {
		case <-p.ctx.Done():
			return "", errStopped
		case text, more := <-p.lines:
			text = strings.TrimSpace(text)
			switch {
			case !more || strings.EqualFold(text, "stop"):
				return "", errStopped
			case text == "" || utf8.RuneCountInString(text) > 128 || text != oneLine(text) || !utf8.ValidString(text):
				p.say("A name is wanted, of at most 128 letters.")
			default:
				return text, nil
			}
		}
	}
	return p.person, nil
}
