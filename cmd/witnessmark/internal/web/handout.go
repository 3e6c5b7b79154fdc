package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"time"

	"witnessmark/cmd/witnessmark/internal/paper"
	"witnessmark/cmd/witnessmark/internal/parcel"
	"witnessmark/store"
)

// maker makes a file of a build from the record. It is whole, and checked where it can be, before the first byte is sent.
type maker func(ctx context.Context, reader *store.Reader, build uint64, key string) ([]byte, error)

// handOut answers with a file of the build of a request.
func (p *Pages) handOut(w http.ResponseWriter, r *http.Request, kind, ending string, make maker) {
	b, _, err := p.buildOf(r)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	key, err := p.Shop.LedgerKey()
	if err != nil {
		p.refused(w, r, err)
		return
	}
	var file []byte
	away, err := p.readFor(r, packWithin, func(ctx context.Context, reader *store.Reader) (err error) {
		file, err = make(ctx, reader, b.ID, key)
		return err
	})
	switch {
	case err != nil:
		p.refused(w, r, err)
	case away != "":
		p.fault(w, r, http.StatusServiceUnavailable, away)
	default:
		w.Header().Set("Content-Type", kind)
		w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="build-%d%s"`, b.ID, ending))
		http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(file))
	}
}

func (p *Pages) sheetPDF(w http.ResponseWriter, r *http.Request) {
	p.handOut(w, r, "application/pdf", "-sheet.pdf", func(ctx context.Context, reader *store.Reader, build uint64, key string) ([]byte, error) {
		h, err := reader.BuildNumber(ctx, build)
		if err != nil {
			return nil, err
		}
		rec, err := paper.Read(ctx, reader, h, key)
		if err != nil {
			return nil, err
		}
		var pdf bytes.Buffer
		err = paper.Sheet(&pdf, rec, paper.Options{Unit: p.unit(r), Paper: paper.A4})
		return pdf.Bytes(), err
	})
}

func (p *Pages) bundleZIP(w http.ResponseWriter, r *http.Request) {
	p.handOut(w, r, "application/zip", "-bundle.zip", func(ctx context.Context, reader *store.Reader, build uint64, key string) ([]byte, error) {
		packed, err := parcel.Pack(ctx, reader, parcel.Order{Number: build, Key: key})
		if err != nil {
			return nil, err
		}
		return packed.Zip, nil
	})
}
