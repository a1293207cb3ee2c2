package mqtt

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// TLSConfig builds the client's side of TLS, 1.2 or newer. caFile holds the
// authorities that may have signed the broker's certificate (PEM; "" for the
// system's), certFile and keyFile the daemon's own certificate (both or
// neither; the key is guarded as a password is). The board has no clock battery: a certificate is judged at
// notBefore while the clock is still behind that.
func TLSConfig(caFile, certFile, keyFile string, notBefore time.Time) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12, Time: func() time.Time {
		if now := time.Now(); now.After(notBefore) {
			return now
		}
		return notBefore
	}}
	if caFile != "" {
		pem, err := os.ReadFile(caFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt: tls: authorities: %w", err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("mqtt: tls: authorities: %s: no PEM certificate in it", caFile)
		}
	}
	if (certFile == "") != (keyFile == "") {
		return nil, errors.New("mqtt: tls: certificate and key: one without the other")
	}
	if certFile != "" {
		cert, err := os.ReadFile(certFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt: tls: certificate: %w", err)
		}
		key, err := guarded(keyFile, keyBytes)
		if err != nil {
			return nil, fmt.Errorf("mqtt: tls: key: %w", err)
		}
		pair, err := tls.X509KeyPair(cert, key)
		if err != nil {
			return nil, fmt.Errorf("mqtt: tls: certificate %s and key %s: %w", certFile, keyFile, err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

const (
	secretBytes = 4 << 10  // of a file with a password
	keyBytes    = 64 << 10 // of one with a key; the longest in use have 13
)

// ReadSecret returns the first line of file without the space around it. It
// refuses a file that group or others may use, and an empty one. No error shows
// what is in the file.
func ReadSecret(file string) (string, error) {
	b, err := guarded(file, secretBytes)
	if err != nil {
		return "", fmt.Errorf("secret: %w", err)
	}
	line, _, _ := strings.Cut(string(b), "\n")
	if line = strings.TrimSpace(line); line == "" {
		return "", fmt.Errorf("secret: %s: its first line is empty: write the password there", file)
	}
	return line, nil
}

// guarded reads a file, up to most bytes, that nobody but its owner may use.
//
// The group's bit is let pass in $CREDENTIALS_DIRECTORY: systemd grants its
// credentials by an ACL, whose mask shows up as mode 0440 (systemd,
// src/core/exec-credential.c, write_credential).
func guarded(file string, most int64) ([]byte, error) {
	f, err := os.OpenFile(file, os.O_RDONLY|syscall.O_NONBLOCK, 0) // a FIFO would be waited for
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: make it with `install -m 600 /dev/null %s` and write the secret into it, for the user that runs the daemon", err, file)
	case errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("%w: it must belong to the user that runs the daemon: chown charwarden %s", err, file)
	case err != nil:
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: not a file: name the file that the secret is in", file)
	}
	open := info.Mode().Perm() & 0o077
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && filepath.Dir(file) == filepath.Clean(dir) {
		open &^= 0o040
	}
	if open != 0 {
		return nil, fmt.Errorf("%s: mode %04o lets others use it: chmod 600 %s", file, info.Mode().Perm(), file)
	}
	b, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return b, nil
}
