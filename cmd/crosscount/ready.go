package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"
)

var readyCommand = command{
	name: "ready", about: "ask the server on this machine whether it can work; exits 1 if not",
	long: `
For health checks. It asks the address that the settings name.`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		if _, err := parse(fs, args, 0, 0); err != nil {
			return err
		}
		cfg, err := loadConfig(c.environ)
		if err != nil {
			return err
		}
		host, port, err := net.SplitHostPort(cfg.address)
		if err != nil {
			return err
		}
		if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
			host = "localhost"
		}
		u := url.URL{Scheme: "http", Host: net.JoinHostPort(host, port), Path: "/readyz"}
		client := http.Client{Timeout: 5 * time.Second}
		if cfg.certificate != nil {
			u.Scheme = "https"
			client.Transport = trustingOnly(cfg)
		}
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
		if err != nil {
			return err
		}
		resp, err := client.Do(req)
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		b, err := io.ReadAll(io.LimitReader(resp.Body, 1000))
		if err != nil {
			return err
		}
		said := strings.TrimSpace(string(b))
		if resp.StatusCode != http.StatusOK {
			return fmt.Errorf("not ready: %s", said)
		}
		fmt.Fprintln(c.out, said)
		return nil
	},
}

// trustingOnly trusts the one certificate of the settings, whatever name it is for:
// the question goes to this machine itself.
func trustingOnly(cfg *config) *http.Transport {
	return &http.Transport{TLSClientConfig: &tls.Config{
		InsecureSkipVerify: true, // the certificate itself is compared instead
		VerifyConnection: func(s tls.ConnectionState) error {
			if !bytes.Equal(s.PeerCertificates[0].Raw, cfg.certificate.Certificate[0]) {
				return errors.New("another server answers: its certificate is not the one in the settings")
			}
			return nil
		},
	}}
}
