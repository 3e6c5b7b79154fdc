package control

import (
	_ "embed"
	"net/http"

	"github.com/goccy/go-yaml"
)

//go:embed openapi.yaml
var openAPI []byte

// OpenAPI is the description of everything that Handler serves, in YAML.
func OpenAPI() []byte { return append([]byte(nil), openAPI...) }

func routeOpenAPI(mux routes) {
	mux.HandleFunc("GET /api/v1/openapi.yaml", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/yaml")
		_, _ = w.Write(openAPI) // a reader that hung up is no fault of ours
	})
	mux.HandleFunc("GET /api/v1/openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		text, err := yaml.YAMLToJSON(openAPI)
		if err != nil {
			reply(w, nil, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(text)
	})
}
