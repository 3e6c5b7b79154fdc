package daemon

import (
	"html/template"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/show"
)

var front = template.Must(template.New("front").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Witnessmark: {{.Shop.Name}}</title></head>
<body><h1>{{.Shop.Name}}</h1>
<p>Witnessmark {{.Version}} records the tightenings of this shop.</p>
<ul>
<li><a href="/metrics">/metrics</a>: figures for a collector</li>
<li><a href="/-/healthy">/-/healthy</a>: the program runs</li>
<li><a href="/-/ready">/-/ready</a>: readings are taken</li>
<li>{{.Socket}}: commands of this program, on this machine</li>
</ul>
<p>{{.Safety}}</p>
</body></html>
`))

type page struct {
	Shop                    config.Shop
	Version, Socket, Safety string
}

// publicPages serves what anyone who reaches the address may see: no engine, no person, no reading.
func (d *Daemon) publicPages(r *prometheus.Registry) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(r, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /-/healthy", func(w http.ResponseWriter, _ *http.Request) { say(w, http.StatusOK, "healthy") })
	mux.HandleFunc("GET /-/ready", func(w http.ResponseWriter, _ *http.Request) {
		select {
		case <-d.journal.Failed():
			say(w, http.StatusServiceUnavailable, "the journal takes no readings")
		case <-d.life.Done():
			say(w, http.StatusServiceUnavailable, "stopping")
		default:
			if s := d.journal.Short(); s != nil && s.Refusing {
				say(w, http.StatusServiceUnavailable, d.disk.trouble())
				return
			}
			say(w, http.StatusOK, "ready")
		}
	})
	mux.HandleFunc("GET /about", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_ = front.Execute(w, page{d.opt.Config.Shop, d.opt.Version, d.Socket(), show.Safety}) // a reader that hung up is no fault of ours
	})
	return mux
}

func say(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text + "\n"))
}
