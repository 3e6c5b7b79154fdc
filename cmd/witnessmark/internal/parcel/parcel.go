// Package parcel packs the bundle of a build that is handed to somebody else: its entries with their proofs and the build
// sheet, checked as its receiver will check it.
package parcel

import (
	"bytes"
	"context"
	"fmt"

	"witnessmark/cmd/witnessmark/internal/paper"
	"witnessmark/device/unit"
	"witnessmark/store"
	"witnessmark/store/bundle"
)

// Order says what is to be packed.
type Order struct {
	Build    string                // work order or number; empty: Number
	Number   uint64                // of the build
	Key      string                // verifier's text of a key of the shop
	Signed   []byte                // checkpoint of a witness to prove against; nil: the newest of the shop
	Extra    []bundle.Extra        // files that go in beside the entries
	Progress func(done, all int64) // may be nil
}

// Parcel is a bundle that proves its build.
type Parcel struct {
	Zip         []byte
	Build       uint64
	Engine      string
	Entries     int
	Size        int64  // leaves of the ledger that it is proved against
	Fingerprint string // of the key, to be told by another way
}

// Pack packs a build. One that would not prove it is an error.
func Pack(ctx context.Context, reader *store.Reader, o Order) (*Parcel, error) {
	content, err := content(ctx, reader, o)
	if err != nil {
		return nil, err
	}
	sheet, err := sheetOf(ctx, reader, content.Build, o.Key)
	if err != nil {
		return nil, err
	}
	content.Extra = append(o.Extra, sheet)
	var zip bytes.Buffer
	if err := bundle.Write(&zip, content); err != nil {
		return nil, err
	}
	found, err := bundle.Check(bytes.NewReader(zip.Bytes()), int64(zip.Len()), content.Key)
	if err != nil {
		return nil, err
	}
	if len(found.Faults) > 0 {
		return nil, fmt.Errorf("this bundle would not prove build %d, so it is not written: %s", content.Build, found.Faults[0])
	}
	return &Parcel{zip.Bytes(), content.Build, content.Engine, len(content.Leaves), found.Checkpoint.Size, found.Fingerprint}, nil
}

func content(ctx context.Context, reader *store.Reader, o Order) (bundle.Content, error) {
	if o.Build == "" {
		return reader.BundleNumber(ctx, o.Number, o.Key, o.Signed, o.Progress)
	}
	return reader.Bundle(ctx, o.Build, o.Key, o.Signed, o.Progress)
}

// sheetOf is the build sheet as it goes into a bundle.
func sheetOf(ctx context.Context, reader *store.Reader, build uint64, key string) (bundle.Extra, error) {
	h, err := reader.BuildNumber(ctx, build)
	if err != nil {
		return bundle.Extra{}, err
	}
	r, err := paper.Read(ctx, reader, h, key)
	if err != nil {
		return bundle.Extra{}, err
	}
	var pdf bytes.Buffer
	err = paper.Sheet(&pdf, r, paper.Options{Unit: unit.Nm, Paper: paper.A4})
	return bundle.Extra{Name: "build-sheet.pdf", Data: pdf.Bytes()}, err
}
