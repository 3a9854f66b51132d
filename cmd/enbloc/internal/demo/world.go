package demo

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"enbloc/cmd/enbloc/internal/client"
	"enbloc/cmd/enbloc/internal/service"
	"enbloc/server/practice"
	"enbloc/testdata/cases"
)

// world is a running service with a practice receiver as its target.
type world struct {
	receiver                *practice.Receiver
	receiverURL, serviceURL string
	api                     *client.Client
	stop                    func() error
}

const (
	freePort     = "127.0.0.1:0"
	receiverPath = "/fhir"
	// stopping is how long both servers may take to end.
	stopping = 5 * time.Second
)

// start opens the receiver, with the patients, encounters and staff that the
// cases name, and the service in front of it.
func start(ctx context.Context, o Options, todo []cases.Case) (*world, error) {
	w := &world{receiver: practice.New(receiverPath)}
	if err := seed(w.receiver, todo); err != nil {
		return nil, err
	}
	closeReceiver, err := w.openReceiver(ctx, or(o.ReceiverListen, freePort))
	if err != nil {
		return nil, err
	}
	closeService, err := w.openService(ctx, o)
	if err != nil {
		return nil, errors.Join(err, closeReceiver())
	}
	w.stop = func() error { return errors.Join(closeService(), closeReceiver()) }
	w.api, err = client.New(w.serviceURL, "")
	if err != nil {
		return nil, errors.Join(err, w.stop())
	}
	return w, nil
}

func (w *world) openReceiver(ctx context.Context, address string) (func() error, error) {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("opening practice receiver: %w", err)
	}
	w.receiverURL = "http://" + listener.Addr().String() + receiverPath
	h := &http.Server{Handler: w.receiver, ReadHeaderTimeout: stopping}
	go h.Serve(listener) //nolint:errcheck // its end is asked for below
	return h.Close, nil
}

// Receive runs the practice receiver alone, with the patients of every example
// case, until ctx ends. prepare says how it behaves; ready is told its FHIR
// base.
func Receive(ctx context.Context, listen string, prepare func(*practice.Receiver) error, ready func(base string)) error {
	w := &world{receiver: practice.New(receiverPath)}
	if err := errors.Join(seed(w.receiver, cases.All()), prepare(w.receiver)); err != nil {
		return err
	}
	stop, err := w.openReceiver(ctx, or(listen, freePort))
	if err != nil {
		return err
	}
	ready(w.receiverURL)
	<-ctx.Done()
	return stop()
}

// openService starts the program as `enbloc serve` does, in a folder of its
// own that is removed when it has stopped.
func (w *world) openService(ctx context.Context, o Options) (func() error, error) {
	folder, err := os.MkdirTemp("", "enbloc-demo-")
	if err != nil {
		return nil, fmt.Errorf("making temporary folder: %w", err)
	}
	config := service.Config{
		Listen: or(o.Listen, freePort), Data: filepath.Join(folder, "data"), Target: w.receiverURL, TargetName: "practice",
		VerifyAll: true, Grace: stopping,
	}
	program, err := service.New(ctx, config, o.Version, o.Log)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- program.Run(running, func(address string) { ready <- address }) }()
	select {
	case address := <-ready:
		w.serviceURL = "http://" + address
	case err := <-ended:
		cancel()
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	return func() error {
		cancel()
		return errors.Join(<-ended, os.RemoveAll(folder))
	}, nil
}

func or(value, otherwise string) string {
	if value == "" {
		return otherwise
	}
	return value
}
