package storetest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/wait"
)

const (
	image    = "postgres:17-alpine"
	password = "test"
)

// container starts the run's container or finds it. All test processes of one
// run share it; it is removed after the last of them has ended.
func container(ctx context.Context) (dsn string, err error) {
	if !dockerLikely() {
		return "", errors.New("no engine here")
	}
	defer func() {
		if r := recover(); r != nil { // the library panics on some broken set-ups
			err = fmt.Errorf("%v", r)
		}
	}()
	provider, err := testcontainers.NewDockerProvider()
	if err != nil {
		return "", err
	}
	defer provider.Close()
	health, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	if err := provider.Health(health); err != nil {
		return "", err
	}
	unlock, err := lockStart()
	if err != nil {
		return "", err
	}
	defer unlock()
	c, err := testcontainers.Run(ctx, image,
		testcontainers.WithReuseByName("crosscount-test-"+testcontainers.SessionID()),
		testcontainers.WithEnv(map[string]string{"POSTGRES_PASSWORD": password}),
		testcontainers.WithTmpfs(map[string]string{"/var/lib/postgresql/data": "rw"}),
		testcontainers.WithCmd("postgres", "-c", "fsync=off", "-c", "full_page_writes=off", "-c", "max_connections=300"),
		testcontainers.WithExposedPorts("5432/tcp"),
		// The image starts the server twice: once to set it up, then for good.
		testcontainers.WithWaitStrategyAndDeadline(2*time.Minute,
			wait.ForLog("database system is ready to accept connections").WithOccurrence(2),
			wait.ForListeningPort("5432/tcp")),
	)
	if err != nil {
		return "", fmt.Errorf("start a container of %s: %w", image, err)
	}
	endpoint, err := c.PortEndpoint(ctx, "5432/tcp", "")
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("postgres://postgres:%s@%s/postgres?sslmode=disable", password, endpoint), nil
}

// dockerLikely saves the library's search where there is nothing to find.
func dockerLikely() bool {
	if os.Getenv("DOCKER_HOST") != "" || os.Getenv("TESTCONTAINERS_HOST_OVERRIDE") != "" {
		return true
	}
	home, _ := os.UserHomeDir()
	for _, path := range []string{
		"/var/run/docker.sock",
		filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "docker.sock"),
		filepath.Join(home, ".docker", "run", "docker.sock"),
		filepath.Join(home, ".docker", "desktop", "docker.sock"),
		filepath.Join(home, ".testcontainers.properties"),
		`\\.\pipe\docker_engine`,
	} {
		if _, err := os.Stat(path); err == nil {
			return true
		}
	}
	return false
}
