package main

import (
	"crypto/tls"
	"errors"
	"io/fs"
	"strings"

	"charwarden/cmd/internal/mqtt"
	"charwarden/config"
)

// credentials reads what the broker wants to see: a password, and for an
// encrypted connection the certificates. Nothing else of the daemon opens these
// files, and what is in them goes nowhere but to the broker.
func credentials(m *config.MQTT) (password string, secure *tls.Config, err error) {
	if m.PasswordFile != "" {
		if password, err = mqtt.ReadSecret(m.PasswordFile); err != nil {
			return "", nil, err
		}
	}
	if strings.HasPrefix(m.Broker, "ssl://") {
		if secure, err = mqtt.TLSConfig(m.CAFile, m.CertFile, m.KeyFile, built()); err != nil {
			return "", nil, err
		}
	}
	return password, secure, nil
}

// checkCredentials says before the first run what would keep it from starting.
// Who may not read the files of the daemon's user learns nothing, which is no
// fault.
func checkCredentials(m *config.MQTT) error {
	if m.Broker == "" {
		return nil
	}
	if _, _, err := credentials(m); err != nil && !errors.Is(err, fs.ErrPermission) {
		return err
	}
	return nil
}
