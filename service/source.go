package main

import (
	"fmt"

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
