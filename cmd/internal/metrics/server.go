package metrics

import (
	"context"
	"errors"
	"fmt"
	"html"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"golang.org/x/net/netutil"
)

// What a client may take. A page of 20 channels and 60 rules is about 60 kB;
// Prometheus itself needs one connection and gives up after 10 s.
const (
	headerTimeout = 2 * time.Second
	readTimeout   = 3 * time.Second
	writeTimeout  = 5 * time.Second // then a client that does not read is cut off
	idleTimeout   = 30 * time.Second
	stopTimeout   = 500 * time.Millisecond // for answers under way when the daemon stops
	headerBytes   = 8 << 10
	scrapes       = 4        // at a time; more are answered 503
	connections   = 16       // at a time; more wait in the kernel's queue
	sendBuffer    = 32 << 10 // bytes that the kernel holds for a client that does not read
)

func newServer(g *gatherer) *http.Server {
	o := &g.opts
	mux := http.NewServeMux()
	page := promhttp.HandlerForTransactional(g, promhttp.HandlerOpts{
		// A defect in one family must not take the others' samples away; it is
		// logged and counted.
		ErrorHandling:       promhttp.ContinueOnError,
		ErrorLog:            &scrapeLog{log: o.Log, now: o.Clock.Now},
		Registry:            g.registry,
		MaxRequestsInFlight: scrapes,
		EnableOpenMetrics:   true,
		DisableCompression:  true, // gzip doubles the time of a scrape and takes 2 MB
	})
	mux.HandleFunc("GET /metrics", func(w http.ResponseWriter, r *http.Request) { page.ServeHTTP(yielding{w}, r) })
	landing := fmt.Sprintf(landingPage, html.EscapeString(o.Version))
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		io.WriteString(w, landing) // nobody is left to hear of an error
	})
	return &http.Server{
		Handler:           mux,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    headerBytes,
		ErrorLog:          slog.NewLogLogger(o.Log.Handler(), slog.LevelWarn),
	}
}

// yielding lets the loop in between the parts of a page, 4 kB each: it would
// else wait for the end of it where there is one processor.
type yielding struct{ http.ResponseWriter }

func (w yielding) Write(part []byte) (int, error) {
	n, err := w.ResponseWriter.Write(part)
	runtime.Gosched()
	return n, err
}

const landingPage = `<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>charwarden metrics</title></head>
<body><h1>charwarden %s</h1>
<p><a href="/metrics">/metrics</a> is the page for Prometheus.</p>
<p>Alarms sound at the rig. Nothing here replaces that.</p>
</body></html>
`

// Listen takes the address, so that a bad one shows at start and not in Run.
func (e *Exporter) Listen() error {
	l, err := net.Listen("tcp", e.opts.Listen)
	if err != nil {
		return fmt.Errorf("metrics: %w%s", err, advice(err, e.opts.Listen))
	}
	e.listener = netutil.LimitListener(slimListener{l.(*net.TCPListener)}, connections)
	return nil
}

// advice says what the person can do about an address that cannot be had.
func advice(err error, addr string) string {
	_, port, _ := net.SplitHostPort(addr) // New has parsed it
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return fmt.Sprintf(": another program has port %[1]s (is charwarden running already?): `sudo ss -ltnp 'sport = :%[1]s'` names it; stop it or give metrics another port", port)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return ": this machine does not have that address: `ip -br addr` lists those it has; 127.0.0.1 is always there"
	case errors.Is(err, syscall.EACCES):
		return ": ports below 1024 are for root: give metrics a higher one"
	}
	return ""
}

// Addr returns the address that Listen took, nil before it.
func (e *Exporter) Addr() net.Addr {
	if e.listener == nil {
		return nil
	}
	return e.listener.Addr()
}

// Run serves what Listen took until ctx ends, and closes it. It returns nil
// within a second of the end of ctx, and an error if serving ends before that.
func (e *Exporter) Run(ctx context.Context) error {
	if e.listener == nil {
		return errors.New("metrics: run: Listen comes first")
	}
	ended := make(chan error, 1)
	go func() { ended <- e.server.Serve(e.listener) }()
	select {
	case err := <-ended:
		return fmt.Errorf("metrics: serve %v: %w", e.Addr(), err)
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTimeout)
	defer cancel()
	if e.server.Shutdown(grace) != nil { // somebody still reads
		e.server.Close() // its error is of closing a listener that is closed
	}
	<-ended
	return nil
}

// slimListener keeps the kernel from growing a connection's send buffer to
// megabytes for a client that does not read.
type slimListener struct{ *net.TCPListener }

func (l slimListener) Accept() (net.Conn, error) {
	c, err := l.AcceptTCP()
	if err != nil {
		return nil, err
	}
	if err := c.SetWriteBuffer(sendBuffer); err != nil {
		c.Close()
		return nil, err
	}
	return c, nil
}
