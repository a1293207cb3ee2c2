package mqtt

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestReadSecret(t *testing.T) {
	dir, creds := t.TempDir(), t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", creds)
	for _, tc := range []struct {
		dir, content string
		mode         os.FileMode
		want         string
	}{
		{dir, "hunter2", 0o600, "hunter2"},
		{dir, "  hunter2 \r\nsecond line\n", 0o400, "hunter2"},
		{dir, "hunter2", 0o640, ""},
		{dir, "hunter2", 0o604, ""},
		{dir, "hunter2", 0o620, ""},
		{dir, "\nhunter2", 0o600, ""},
		{dir, "", 0o600, ""},
		{creds, "hunter2", 0o440, "hunter2"}, // an ACL's mask, see ReadSecret
		{creds, "hunter2", 0o444, ""},
		{creds, "hunter2", 0o460, ""},
	} {
		file := filepath.Join(tc.dir, "password")
		os.Remove(file)
		if err := os.WriteFile(file, []byte(tc.content), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(file, tc.mode); err != nil {
			t.Fatal(err)
		}
		got, err := ReadSecret(file)
		if got != tc.want || (err == nil) != (tc.want != "") {
			t.Errorf("%q mode %o: %q, %v; want %q", tc.content, tc.mode, got, err, tc.want)
		}
		if err != nil && strings.Contains(err.Error(), "hunter2") {
			t.Errorf("the error shows the secret: %v", err)
		}
		if tc.mode == 0o640 && !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("no hint in %v", err)
		}
	}
	if _, err := ReadSecret(filepath.Join(dir, "absent")); err == nil {
		t.Error("an absent file is a secret")
	}
}

func TestTLSConfig(t *testing.T) {
	dir := t.TempDir()
	pki := newPKI(t, dir, time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
	if _, err := TLSConfig(pki.ca, pki.cert, pki.key, time.Time{}); err != nil {
		t.Error(err)
	}
	junk := filepath.Join(dir, "junk")
	if err := os.WriteFile(junk, []byte("junk"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, files := range [][3]string{
		{junk, "", ""}, {filepath.Join(dir, "absent"), "", ""},
		{pki.ca, pki.cert, ""}, {pki.ca, "", pki.key}, {pki.ca, junk, pki.key},
	} {
		if _, err := TLSConfig(files[0], files[1], files[2], time.Time{}); err == nil {
			t.Errorf("%v: no error", files)
		}
	}
	future := time.Now().Add(1000 * time.Hour)
	c, err := TLSConfig("", "", "", future)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Time(); !got.Equal(future) {
		t.Errorf("a clock that is behind is believed: %v", got)
	}
	if c, _ = TLSConfig("", "", "", start.AddDate(-30, 0, 0)); time.Since(c.Time()).Abs() > time.Minute {
		t.Errorf("a clock that is right is not believed: %v", c.Time())
	}
}
