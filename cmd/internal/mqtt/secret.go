package mqtt

import (
	"bufio"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// TLSConfig builds the client's side of TLS, 1.2 or newer. caFile holds the
// authorities that may have signed the broker's certificate (PEM; "" for the
// system's), certFile and keyFile the daemon's own certificate (both or
// neither). The board has no clock battery: a certificate is judged at
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
		pair, err := tls.LoadX509KeyPair(certFile, keyFile)
		if err != nil {
			return nil, fmt.Errorf("mqtt: tls: certificate and key: %w", err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// ReadSecret returns the first line of file without the space around it. It
// refuses a file that group or others may read, and an empty one. No error
// shows what is in the file.
//
// The group's bit is let pass in $CREDENTIALS_DIRECTORY: systemd grants its
// credentials by an ACL, whose mask shows up as mode 0440 (systemd,
// src/core/exec-credential.c, write_credential).
func ReadSecret(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", fmt.Errorf("secret: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", fmt.Errorf("secret: %w", err)
	}
	open := info.Mode().Perm() & 0o077
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && filepath.Dir(file) == filepath.Clean(dir) {
		open &^= 0o040
	}
	if open != 0 {
		return "", fmt.Errorf("secret: %s: mode %04o lets others use it: chmod 600 %s", file, info.Mode().Perm(), file)
	}
	line, err := bufio.NewReader(io.LimitReader(f, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("secret: %s: %w", file, err)
	}
	if line = strings.TrimSpace(line); line == "" {
		return "", fmt.Errorf("secret: %s: its first line is empty", file)
	}
	return line, nil
}
