package web

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// PasswordCost is the work of one argon2id hash (RFC 9106).
type PasswordCost struct {
	MemoryKiB uint32 // at least 8 per thread
	Passes    uint32 // at least 1
	Threads   uint8  // at least 1
}

// DefaultPasswordCost is RFC 9106's second recommended option: 64 MiB, 3 passes,
// 4 lanes.
var DefaultPasswordCost = PasswordCost{MemoryKiB: 64 << 10, Passes: 3, Threads: 4}

// Limits on the parameters read back, so that a stored string cannot exhaust us.
const (
	maxMemoryKiB = 1 << 20
	maxPasses    = 64
	saltBytes    = 16 // RFC 9106, section 3.1
	keyBytes     = 32
)

var errBadHash = errors.New("password hash: not an argon2id string")

func (c PasswordCost) check() error {
	if c.Threads < 1 || c.Passes < 1 || c.Passes > maxPasses || c.MemoryKiB < 8*uint32(c.Threads) || c.MemoryKiB > maxMemoryKiB {
		return fmt.Errorf("argon2id: memory %d KiB, passes %d, threads %d are out of range", c.MemoryKiB, c.Passes, c.Threads)
	}
	return nil
}

// HashPassword returns a PHC string, the form in which the store keeps a password.
func HashPassword(password string) (string, error) {
	return hashPassword(password, DefaultPasswordCost)
}

func hashPassword(password string, c PasswordCost) (string, error) {
	if err := c.check(); err != nil {
		return "", err
	}
	salt := make([]byte, saltBytes)
	rand.Read(salt) // never fails, by its documentation
	key := argon2.IDKey([]byte(password), salt, c.Passes, c.MemoryKiB, c.Threads, keyBytes)
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.MemoryKiB, c.Passes, c.Threads,
		b.EncodeToString(salt), b.EncodeToString(key)), nil
}

// checkPassword compares in constant time and says whether the hash was made at
// another cost than c.
func checkPassword(phc, password string, c PasswordCost) (ok, stale bool, err error) {
	p := strings.Split(phc, "$")
	if len(p) != 6 || p[0] != "" || p[1] != "argon2id" || p[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return false, false, errBadHash
	}
	var had PasswordCost
	if n, err := fmt.Sscanf(p[3], "m=%d,t=%d,p=%d", &had.MemoryKiB, &had.Passes, &had.Threads); err != nil || n != 3 {
		return false, false, errBadHash
	}
	if err := had.check(); err != nil {
		return false, false, fmt.Errorf("%w: %w", errBadHash, err)
	}
	b := base64.RawStdEncoding.Strict()
	salt, err := b.DecodeString(p[4])
	if err != nil || len(salt) < 8 || len(salt) > 64 {
		return false, false, errBadHash
	}
	want, err := b.DecodeString(p[5])
	if err != nil || len(want) < 16 || len(want) > 64 {
		return false, false, errBadHash
	}
	got := argon2.IDKey([]byte(password), salt, had.Passes, had.MemoryKiB, had.Threads, uint32(len(want)))
	return subtle.ConstantTimeCompare(got, want) == 1, had != c || len(salt) != saltBytes || len(want) != keyBytes, nil
}

// hashSlot waits for one of the places in which passwords are hashed.
func (s *server) hashSlot(ctx context.Context) (release func(), err error) {
	select {
	case s.hashing <- struct{}{}:
		return func() { <-s.hashing }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
