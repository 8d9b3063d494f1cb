package report

import (
	"os"
	"path/filepath"
	"testing"
)

// TestPages writes the invented results' pages into the folder that LEADLINE_PAGES names, for the browser tests; without it there is nothing to do.
func TestPages(t *testing.T) {
	folder := os.Getenv("LEADLINE_PAGES")
	if folder == "" {
		t.Skip("LEADLINE_PAGES is not set")
	}
	for name, r := range samples() {
		if err := os.WriteFile(filepath.Join(folder, "invented-"+name+".html"), []byte(render(t, r)), 0o644); err != nil {
			t.Error(err)
		}
	}
}
