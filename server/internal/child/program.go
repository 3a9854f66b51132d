// Package child runs the real program as a child process on a store of its own,
// and watches it: what the commands that prove something about the whole program
// have in common.
package child

import (
	"bufio"
	"bytes"
	"context"
	"encoding/hex"
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

// Program is the real binary as a child process, started and killed many times
// on one store and one address. It is safe for concurrent use.
type Program struct {
	// Version is what the binary says of itself.
	Version string

	binary, base, log string
	args              []string

	mu    sync.Mutex
	child *exec.Cmd
	ended chan error
}

// Options say what to run, and on what.
type Options struct {
	// Binary is the program; empty: it is built from ./cmd/enbloc into Folder.
	Binary string
	// Folder takes its log, its data and its key file.
	Folder string
	// Store is a path or a postgres:// URL.
	Store string
	// Target is the FHIR base URL that is delivered to, Name its name in the ledger.
	Target, Name string
	// Key is the identity key, 32 bytes; obviously no secret.
	Key []byte
	// Rung is how the target is written; 0: as the program chooses.
	Rung int
}

// New builds the binary, unless one is given, and asks its version.
func New(ctx context.Context, o Options) (*Program, error) {
	p := &Program{binary: o.Binary, log: filepath.Join(o.Folder, "log")}
	if p.binary == "" {
		p.binary = filepath.Join(o.Folder, "enbloc")
		if err := Build(ctx, p.binary); err != nil {
			return nil, err
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
	p.Version = words[1]
	port, err := freePort(ctx)
	if err != nil {
		return nil, err
	}
	keyFile := filepath.Join(o.Folder, "identity.key")
	if err := os.WriteFile(keyFile, []byte(hex.EncodeToString(o.Key)), 0o600); err != nil {
		return nil, fmt.Errorf("writing identity key: %w", err)
	}
	address := "127.0.0.1:" + strconv.Itoa(port)
	p.base = "http://" + address
	p.args = []string{"serve", "--listen", address, "--data", filepath.Join(o.Folder, "data"), "--store", o.Store, "--key-file", keyFile,
		"--target", o.Target, "--target-name", o.Name, "--target-serves", "test",
		"--retry-wait", "2s", "--log-level", "warn", "--log-format", "json"}
	if o.Rung != 0 {
		p.args = append(p.args, "--rung", strconv.Itoa(o.Rung))
	}
	return p, nil
}

// Build builds the program into a file.
func Build(ctx context.Context, file string) error {
	build := exec.CommandContext(ctx, "go", "build", "-o", file, "enbloc/cmd/enbloc") //nolint:gosec // a folder of ours
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("building the program: %w\n%s", err, out)
	}
	return nil
}

func freePort(ctx context.Context) (int, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, fmt.Errorf("looking for a free port: %w", err)
	}
	defer l.Close() //nolint:errcheck // nothing was sent
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Start starts the child and waits until it accepts reports.
func (p *Program) Start(ctx context.Context) error {
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
			return fmt.Errorf("starting the program: it ended: %w", errors.Join(err, errors.New(p.LastWords())))
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
			if status, _, err := p.Get(ctx, "/health/ready"); err == nil && status == http.StatusOK {
				return nil
			}
		}
	}
}

// Kill ends the child as a loss of power would: SIGKILL, no chance to tidy up.
func (p *Program) Kill() {
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

// Stop asks the child to end in good order and demands that it does.
func (p *Program) Stop(ctx context.Context) error {
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
			return fmt.Errorf("stopping the program: %w\n%s", err, p.LastWords())
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

// Get is [Program.Ask] without a body.
func (p *Program) Get(ctx context.Context, path string) (int, []byte, error) {
	return p.Ask(ctx, http.MethodGet, path, nil)
}

// client keeps a connection for every sender.
var client = &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 16}}

// Ask sends a request to the child and reads the whole answer. A broken connection
// is an error, an answer of whatever status is none. Header is a list of name and
// value in turn.
func (p *Program) Ask(ctx context.Context, method, path string, body []byte, header ...string) (int, []byte, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, p.base+path, bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	res, err := client.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close() //nolint:errcheck // read to its end
	raw, err := io.ReadAll(res.Body)
	return res.StatusCode, raw, err
}

// Open is how many outbox rows are not settled, by the program's own metrics.
func (p *Program) Open(ctx context.Context) (int, error) {
	return p.sum(ctx, "enbloc_delivery_open_rows", "")
}

// Delivered is how many rows the child has delivered since its start.
func (p *Program) Delivered(ctx context.Context) (int, error) {
	return p.sum(ctx, "enbloc_delivery_rows_total", `state="delivered"`)
}

// sum adds up a metric over those of its labels that hold a text.
func (p *Program) sum(ctx context.Context, metric, having string) (int, error) {
	_, raw, err := p.Get(ctx, "/metrics")
	if err != nil {
		return 0, err
	}
	total, seen := 0.0, false
	for lines := bufio.NewScanner(bytes.NewReader(raw)); lines.Scan(); {
		if rest, ok := strings.CutPrefix(lines.Text(), metric+"{"); ok {
			labels, value, _ := strings.Cut(rest, "} ")
			if !strings.Contains(labels, having) {
				continue
			}
			n, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return 0, fmt.Errorf("reading metrics: %w", err)
			}
			total, seen = total+n, true
		}
	}
	if !seen {
		return 0, fmt.Errorf("reading metrics: they do not say %s", metric)
	}
	return int(total), nil
}

// LastWords are the last lines of the log.
func (p *Program) LastWords() string {
	raw, err := os.ReadFile(p.log)
	if err != nil {
		return ""
	}
	return string(raw[max(0, len(raw)-4000):])
}
