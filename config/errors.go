package config

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
)

// Error is one thing that is wrong in a file.
type Error struct {
	File string
	Line int    // from 1
	Key  string // "thermocouple.select"
	Msg  string // what is wrong and what is allowed
}

func (e Error) Error() string { return fmt.Sprintf("%s:%d: %s: %s", e.File, e.Line, e.Key, e.Msg) }

// Errors is everything that is wrong in a file, by line. Parse returns it as
// *Errors, never empty.
type Errors []Error

func (e *Errors) Error() string {
	lines := make([]string, len(*e))
	for i := range *e {
		lines[i] = (*e)[i].Error()
	}
	return strings.Join(lines, "\n")
}

// sorted puts the errors in the order of the file and drops repetitions.
func (e Errors) sorted() Errors {
	slices.SortStableFunc(e, func(a, b Error) int { return a.Line - b.Line })
	return slices.Compact(e)
}

// tomlError turns what the TOML decoder found into an Error with an excerpt:
// the line and a caret under the column.
func tomlError(file string, data []byte, err error) Error {
	e := Error{File: file, Line: 1, Key: "toml", Msg: err.Error()}
	var de *toml.DecodeError
	if !errors.As(err, &de) {
		return e
	}
	line, col := de.Position()
	lines := bytes.Split(data, []byte("\n"))
	e.Line = min(max(line, 1), len(lines))
	text := lines[e.Line-1]
	cause := strings.TrimPrefix(de.Error(), "toml: ")
	if hint := tomlHint(cause, data, text, col); strings.Contains(cause, "at start of value") || strings.HasPrefix(cause, "expected keyword") {
		cause = "no value begins like this" + hint
	} else {
		cause += hint
	}
	before := text[:min(max(col-1, 0), len(text))]
	e.Msg = fmt.Sprintf("column %d: %s\n\t%s\n\t%s^", col, cause,
		veil(printable(text)), strings.Repeat(" ", utf8.RuneCountInString(printable(before))))
	return e
}

// tomlHint says what to do about the slips that people make most.
func tomlHint(cause string, data, line []byte, col int) string {
	at := ' '
	if col >= 1 && col <= len(line) {
		at, _ = utf8.DecodeRune(line[col-1:])
	}
	switch {
	case bytes.IndexByte(data, 0) >= 0 || bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")):
		return " (this is no text in UTF-8: save it anew as UTF-8, or begin with `charwarden config`)"
	case strings.Contains(cause, "UTF-8"):
		return " (save the file as UTF-8, or write degC for °C)"
	case strings.ContainsRune("“”„‟‘’", at):
		return " (these quotes are for letters: write straight ones, \"100 ms\")"
	case strings.Contains(cause, "at start of value"), strings.HasPrefix(cause, "expected newline"), strings.HasPrefix(cause, "expected keyword"):
		return " (texts and values with units stand in quotes: \"100 ms\")"
	case strings.Contains(cause, "cannot have new lines"):
		return " (a quote is missing at the end)"
	case strings.HasPrefix(cause, "expected '=' after"):
		return " (write: name = value)"
	case strings.HasPrefix(cause, "table ") && strings.HasSuffix(cause, "already exists"):
		return " (this table stands further up already: put its keys together there)"
	case strings.HasPrefix(cause, "key ") && strings.HasSuffix(cause, "already defined"):
		return " (delete one of the two lines)"
	}
	return ""
}

// printable keeps an excerpt on one line and in step with its caret.
func printable(line []byte) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, strings.TrimRight(string(line), "\r"))
}
