package drawing_test

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/drawing"
)

func joint(t *testing.T, id string) *procedure.Joint {
	t.Helper()
	text, err := os.ReadFile("../../../../testdata/procedures/tb-42-rev-4.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p, err := procedure.Parse("tb-42", text)
	if err != nil {
		t.Fatal(err)
	}
	j, ok := p.Joint(id)
	if !ok {
		t.Fatalf("no joint %s", id)
	}
	return j
}

func TestText(t *testing.T) {
	for _, c := range []struct {
		joint string
		stage int
		want  string
	}{
		{"head", 0, `
7 [6]    5 [7]    2 [8]    4 [9]    10 [10]

9 [1]    3 [2]    1 [3]    6 [4]    8 [5]`},
		{"main-caps", 2, `
· [9]   5 [1]   3 [3]   1 [5]   7 [7]

· [10]  8 [2]   2 [4]   4 [6]   6 [8]`},
		{"rod-caps", 0, `
1 [1a]  2 [1b]  3 [2a]  4 [2b]  5 [3a]  6 [3b]  7 [4a]  8 [4b]`},
	} {
		got := drawing.Of(joint(t, c.joint), c.stage).Text(80)
		if strings.TrimSpace(got) != strings.TrimSpace(c.want) {
			t.Errorf("%s, stage %d: got\n%s\nwant\n%s", c.joint, c.stage, got, c.want)
		}
	}
}

func TestText_EveryFastenerIsNamed(t *testing.T) {
	for _, id := range []string{"main-caps", "rod-caps", "head", "sump"} {
		j := joint(t, id)
		for _, columns := range []int{20, 40, 80, 200} {
			text := drawing.Of(j, 0).Text(columns)
			for _, f := range j.Fasteners {
				if !strings.Contains(text, "["+f.ID+"]") {
					t.Errorf("%s in %d columns: got no fastener %s", id, columns, f.ID)
				}
			}
		}
	}
}

// The picture is a whole document of its own, and tells every number once.
func TestSVG(t *testing.T) {
	j := joint(t, "head")
	j.Fasteners[0].ID = `<b>&"`
	svg := drawing.Of(j, 0).SVG()
	var texts []string
	for d, in := xml.NewDecoder(strings.NewReader(svg)), false; ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("got no XML: %v", err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			in = token.Name.Local == "text"
		case xml.CharData:
			if in {
				texts = append(texts, string(token))
				in = false
			}
		}
	}
	if want := "9 [<b>&\"] 3 [2] 1 [3] 6 [4] 8 [5] 7 [6] 5 [7] 2 [8] 4 [9] 10 [10]"; strings.Join(texts, " ") != want {
		t.Errorf("got %q, want %q", strings.Join(texts, " "), want)
	}
	if strings.Contains(svg, "script") || strings.Contains(svg, "href") {
		t.Error("got a picture that refers to something else")
	}
}
