package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// rendered is a finished output: a path, or - for standard output.
type rendered struct {
	path string
	data []byte
}

// writeAll writes every file beside its target first and renames them only when all are whole, so that a target holds either
// what it held or the new content.
func writeAll(files []rendered, stdout io.Writer) (err error) {
	var temporary []string
	defer func() {
		for _, t := range temporary {
			os.Remove(t) // gone already where the rename went through
		}
	}()
	var targets []string
	for _, f := range files {
		if f.path == "-" {
			continue
		}
		target, err := realTarget(f.path)
		if err != nil {
			return err
		}
		name, err := writeTemporary(target, f.data)
		if err != nil {
			return fmt.Errorf("%s: %w; nothing was written", f.path, err)
		}
		temporary, targets = append(temporary, name), append(targets, target)
	}
	for i, name := range temporary {
		if err := os.Rename(name, targets[i]); err != nil {
			return fmt.Errorf("%s: %w", targets[i], err)
		}
	}
	for _, f := range files {
		if f.path == "-" {
			if _, err := stdout.Write(f.data); err != nil {
				return fmt.Errorf("standard output: %w", err)
			}
		}
	}
	return nil
}

// realTarget follows a link, so that the rename replaces the file and not the link.
func realTarget(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		if os.IsNotExist(err) {
			return path, nil
		}
		return "", err
	}
	if info.IsDir() {
		return "", fmt.Errorf("%s is a folder: give a file name", path)
	}
	return filepath.EvalSymlinks(path)
}

func writeTemporary(target string, data []byte) (name string, err error) {
	f, err := os.CreateTemp(filepath.Dir(target), ".leadline-*")
	if err != nil {
		return "", err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	return f.Name(), err
}
