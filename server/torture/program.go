package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// program is the real binary as a child process, started and killed many times
// on one store and one address.
type program struct {
	binary, version string
	args            []string
	base            string
	log             string

	mu    sync.Mutex
	child *exec.Cmd
	ended chan error
}

// newProgram builds the binary, unless one is given, and asks its version.
func newProgram(ctx context.Context, c config, folder, dsn, target string) (*program, error) {
	p := &program{binary: c.Binary, log: filepath.Join(folder, "log")}
	if p.binary == "" {
		p.binary = filepath.Join(folder, "enbloc")
		build := exec.CommandContext(ctx, "go", "build", "-o", p.binary, "enbloc/cmd/enbloc") //nolint:gosec // our own folder
		if out, err := build.CombinedOutput(); err != nil {
			return nil, fmt.Errorf("building the program: %w\n%s", err, out)
		}
	}
	said, err := exec.CommandContext(ctx, p.binary, "--version").Output() //nolint:gosec // our own binary
	if err != nil {
		return nil, fmt.Errorf("asking the program's version: %w", err)
	}
	words := strings.Fields(string(said)) // "enbloc VERSION (GO)"
	if len(words) < 2 {
		return nil, errors.New("asking the program's version: it says none")
	}
	p.version = words[1]
	port, err := freePort(ctx)
	if err != nil {
		return nil, err
	}
	keyFile, err := writeKey(folder)
	if err != nil {
		return nil, fmt.Errorf("writing identity key: %w", err)
	}
	address := "127.0.0.1:" + strconv.Itoa(port)
	p.base = "http://" + address
	p.args = []string{"serve", "--listen", address, "--data", filepath.Join(folder, "data"), "--store", dsn, "--key-file", keyFile,
		"--target", target, "--target-name", "torture", "--target-serves", "test",
		"--retry-wait", "2s", "--log-level", "warn", "--log-format", "json"}
	return p, nil
}

func freePort(ctx context.Context) (int, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, fmt.Errorf("looking for a free port: %w", err)
	}
	defer l.Close() //nolint:errcheck // nothing was sent
	return l.Addr().(*net.TCPAddr).Port, nil
}

// start starts the child and waits until it accepts reports.
func (p *program) start(ctx context.Context) error {
	out, err := os.OpenFile(p.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("opening log: %w", err)
	}
	defer out.Close()                                                             //nolint:errcheck // the child has its own
	child := exec.CommandContext(context.WithoutCancel(ctx), p.binary, p.args...) //nolint:gosec // our own binary
	child.Stdout, child.Stderr = out, out
	if err := child.Start(); err != nil {
		return fmt.Errorf("starting the program: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- child.Wait() }()
	p.mu.Lock()
	p.child, p.ended = child, ended
	p.mu.Unlock()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-ended:
			return fmt.Errorf("starting the program: it ended: %w", errors.Join(err, errors.New(p.lastWords())))
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
			if status, _, err := p.get(ctx, "/health/ready"); err == nil && status == http.StatusOK {
				return nil
			}
		}
	}
}

// kill ends the child as a loss of power would: SIGKILL, no chance to tidy up.
func (p *program) kill() {
	p.mu.Lock()
	child, ended := p.child, p.ended
	p.child = nil
	p.mu.Unlock()
	if child == nil {
		return
	}
	_ = child.Process.Kill()
	<-ended
}

// stop asks the child to end in good order and demands that it does.
func (p *program) stop(ctx context.Context) error {
	p.mu.Lock()
	child, ended := p.child, p.ended
	p.child = nil
	p.mu.Unlock()
	if err := child.Process.Signal(syscall.SIGTERM); err != nil {
		return fmt.Errorf("stopping the program: %w", err)
	}
	select {
	case err := <-ended:
		if err != nil {
			return fmt.Errorf("stopping the program: %w\n%s", err, p.lastWords())
		}
		return nil
	case <-time.After(time.Minute):
		_ = child.Process.Kill()
		return errors.New("stopping the program: it did not end within a minute")
	case <-ctx.Done():
		_ = child.Process.Kill()
		return ctx.Err()
	}
}

// get asks the child.
func (p *program) get(ctx context.Context, path string) (int, []byte, error) {
	return p.ask(ctx, http.MethodGet, path, nil)
}

func (p *program) ask(ctx context.Context, method, path string, body []byte) (int, []byte, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, p.base+path, bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close() //nolint:errcheck // read to its end
	raw, err := io.ReadAll(res.Body)
	return res.StatusCode, raw, err
}

// open is how many outbox rows are not settled, by the program's own metrics.
func (p *program) open(ctx context.Context) (int, error) {
	_, raw, err := p.get(ctx, "/metrics")
	if err != nil {
		return 0, err
	}
	total, seen := 0.0, false
	for lines := bufio.NewScanner(bytes.NewReader(raw)); lines.Scan(); {
		if rest, ok := strings.CutPrefix(lines.Text(), "enbloc_delivery_open_rows{"); ok {
			_, value, _ := strings.Cut(rest, "} ")
			n, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return 0, fmt.Errorf("reading metrics: %w", err)
			}
			total, seen = total+n, true
		}
	}
	if !seen {
		return 0, errors.New("reading metrics: they do not say how many rows are open")
	}
	return int(total), nil
}

// lastWords are the last lines of the log.
func (p *program) lastWords() string {
	raw, err := os.ReadFile(p.log)
	if err != nil {
		return ""
	}
	return string(raw[max(0, len(raw)-4000):])
}
