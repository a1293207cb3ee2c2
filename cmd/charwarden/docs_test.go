package main

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
)

// documents are all that people read.
func documents(t *testing.T) []string {
	t.Helper()
	docs := []string{"README.md", "DEVELOPERS.md"}
	err := filepath.WalkDir(filepath.Join(repo, "deploy"), func(p string, e fs.DirEntry, err error) error {
		if err == nil && filepath.Ext(p) == ".md" {
			rel, _ := filepath.Rel(repo, p)
			docs = append(docs, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return docs
}

var (
	codeSpan = regexp.MustCompile("`([^`\n]+)`")
	flagWord = regexp.MustCompile(`(?:^|[\s\[(|])(--?[a-z][a-z-]*)`)
)

// called are the calls of charwarden in a document: in its blocks, and in spans
// that begin with its name or, as in the table of commands, with a command's.
func called(t *testing.T, doc string) (calls []string) {
	t.Helper()
	blocks, rest := fencesOf(t, doc)
	for _, f := range blocks {
		if f.kind == "text" {
			continue
		}
		for _, l := range f.lines {
			for _, part := range regexp.MustCompile(`[|;&>]`).Split(comment.ReplaceAllString(l, ""), -1) {
				if _, call, ok := strings.Cut(" "+strings.ReplaceAll(part, "go run ./cmd/charwarden", "charwarden"), " charwarden "); ok && !strings.Contains(part, "apt ") && !strings.Contains(part, "adduser ") && !strings.Contains(part, "systemctl ") && !strings.Contains(part, "install ") {
					calls = append(calls, call)
				}
			}
		}
	}
	for _, m := range codeSpan.FindAllStringSubmatch(rest, -1) {
		text := strings.ReplaceAll(strings.ReplaceAll(m[1], `\|`, "|"), "go run ./cmd/charwarden", "charwarden")
		call, named := strings.CutPrefix(text, "charwarden ")
		first, args, _ := strings.Cut(call, " ")
		if named || isCommand(first) && strings.Contains(args, "-") {
			calls = append(calls, call)
		}
	}
	return calls
}

func isCommand(word string) bool {
	return slices.ContainsFunc(commands(), func(c command) bool { return c.name == word })
}

// helpOf is what `charwarden WORDS -h` prints; "" where it is refused.
func helpOf(t *testing.T, words ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := dispatch(context.Background(), append(words, "-h"), nil, &out, &errs); code != exitOK {
		return ""
	}
	return out.String()
}

// Every command and every flag that a document names is there.
func TestDocumentsNameWhatIsThere(t *testing.T) {
	n := 0
	for _, doc := range documents(t) {
		for _, call := range called(t, doc) {
			words := strings.FieldsFunc(call, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("[](),|", r) })
			if len(words) == 0 || words[0] == "COMMAND" {
				continue
			}
			n++
			name := words[:1]
			if words[0] == "help" {
				continue
			}
			if !isCommand(words[0]) {
				t.Errorf("%s: `charwarden %s`: no such command", doc, call)
				continue
			}
			help := helpOf(t, words[0])
			// A second word is a command of its own in calc and runs.
			if (words[0] == "calc" || words[0] == "runs") && len(words) > 1 && !strings.HasPrefix(words[1], "-") {
				name = words[:2]
				if help = helpOf(t, name...); help == "" {
					t.Errorf("%s: `charwarden %s`: no such command", doc, call)
					continue
				}
			}
			for _, m := range flagWord.FindAllStringSubmatch(call, -1) {
				flag := strings.TrimLeft(m[1], "-")
				if flag != "h" && !regexp.MustCompile(`(?m)^  -`+regexp.QuoteMeta(flag)+`\b`).MatchString(help) {
					t.Errorf("%s: `charwarden %s`: `charwarden %s -h` has no -%s", doc, call, strings.Join(name, " "), flag)
				}
			}
		}
	}
	if n < 60 {
		t.Errorf("only %d calls found: the documents are read wrong", n)
	}
}

// Every command is in README's table.
func TestReadmeHasEveryCommand(t *testing.T) {
	_, rest := fencesOf(t, "README.md")
	for _, c := range commands() {
		if !regexp.MustCompile("(?m)^\\| (?:[^|\\\\]|\\\\.)*`(charwarden )?" + c.name + "[ `]").MatchString(rest) { // in the first column
			t.Errorf("charwarden %s is not in the table", c.name)
		}
	}
}

var (
	link      = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	heading   = regexp.MustCompile(`(?m)^#+ (.+)$`)
	deployed  = regexp.MustCompile(`\bdeploy/[\w./*-]*\w`)
	inPackage = regexp.MustCompile(`/usr/share/charwarden/([\w./*-]*\w)`)
)

// anchorOf is the name that a heading gets as a link's end: lower case, blanks are
// dashes, other signs than letters, digits, - and _ are dropped (GitHub's rule, from
// memory).
func anchorOf(heading string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return '-'
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '-', r == '_':
			return unicode.ToLower(r)
		}
		return -1
	}, heading)
}

// Every link leads somewhere, and so does every file of deploy that is named.
func TestDocumentsLead(t *testing.T) {
	exists := func(p string) bool {
		found, err := filepath.Glob(filepath.Join(repo, p))
		return err == nil && len(found) > 0
	}
	for _, doc := range documents(t) {
		_, rest := fencesOf(t, doc)
		for _, m := range link.FindAllStringSubmatch(rest, -1) {
			if strings.Contains(m[1], "://") {
				continue
			}
			to, anchor, anchored := strings.Cut(m[1], "#")
			at := path.Join(path.Dir(doc), to)
			if to == "" {
				at = doc
			}
			if !exists(at) {
				t.Errorf("%s: link to %s: no such file", doc, m[1])
				continue
			}
			if anchored && !slices.ContainsFunc(heading.FindAllStringSubmatch(textOf(t, at), -1), func(h []string) bool { return anchorOf(h[1]) == anchor }) {
				t.Errorf("%s: link to %s: %s has no such heading", doc, m[1], at)
			}
		}
		text := textOf(t, doc)
		for _, name := range deployed.FindAllString(text, -1) {
			if !exists(name) {
				t.Errorf("%s: names %s: no such file", doc, name)
			}
		}
		for _, m := range inPackage.FindAllStringSubmatch(text, -1) {
			if !exists("deploy/" + m[1]) {
				t.Errorf("%s: names %s, which the package takes from deploy/%s: no such file", doc, m[0], m[1])
			}
		}
	}
}

// The links of the tests above are found at all.
func TestLinksAreSeen(t *testing.T) {
	if len(link.FindAllString(textOf(t, "README.md"), -1)) == 0 {
		t.Error("README has no link: they are read wrong")
	}
	if got := anchorOf("What `no` sensor knows: 3"); got != "what-no-sensor-knows-3" {
		t.Errorf("anchor %s", got)
	}
	if _, err := os.Stat(filepath.Join(repo, "deploy")); err != nil {
		t.Error(err)
	}
}
