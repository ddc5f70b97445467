package main

import (
	"fmt"
	"os"
	"path/filepath"

	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/practice"
)

// rigSource returns the rig files to serve: those of a folder, or the practice rig built in.
func rigSource(o serveOptions) ([]rigFile, *limits.Layer, error) {
	switch o.practice {
	case "":
		return readRigs(o.rigs)
	case "heron":
		return []rigFile{{name: "heron.yaml (built in)", content: practice.HeronFile()}}, nil, nil
	}
	return nil, nil, fmt.Errorf("there is no practice rig %q: heron is the only one", o.practice)
}

// oneRig reads one rig file, with what lies beside it.
func oneRig(path string) (rigFile, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return rigFile{}, fmt.Errorf("the file cannot be read: %w; give the path of a rig file (an empty form: check --blank)", err)
	}
	return rigFile{path, content, beside(filepath.Dir(path))}, nil
}
