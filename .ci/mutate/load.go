package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
)

// source is a package read and type-checked.
type source struct {
	dir   string // from the root
	name  string
	fset  *token.FileSet
	files []*ast.File
	text  map[string][]byte // by path from the root
	info  *types.Info
	pkg   *types.Package
}

// listed is what `go list -export -json` says of a package.
type listedPackage struct {
	ImportPath, Name, Export, Dir string
	GoFiles                       []string
}

// load reads the package in dir, with the compiled packages that it imports.
func load(root, dir string) (*source, error) {
	packages, err := goList(root, "./"+dir)
	if err != nil {
		return nil, err
	}
	exports, target := map[string]string{}, listedPackage{}
	for _, p := range packages {
		exports[p.ImportPath] = p.Export
		if p.Dir == filepath.Join(root, dir) {
			target = p
		}
	}
	s := &source{dir: dir, name: target.Name, fset: token.NewFileSet(), text: map[string][]byte{}}
	for _, f := range target.GoFiles {
		path := dir + "/" + f
		text, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			return nil, err
		}
		parsed, err := parser.ParseFile(s.fset, path, text, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		s.files, s.text[path] = append(s.files, parsed), text
	}
	s.info = &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}, Defs: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: importer.ForCompiler(s.fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no compiled %s", path)
		}
		return os.Open(exports[path])
	})}
	s.pkg, err = conf.Check(target.ImportPath, s.fset, s.files, s.info)
	return s, err
}

func goList(root, pattern string) ([]listedPackage, error) {
	cmd := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Name,Export,Dir,GoFiles", pattern)
	cmd.Dir, cmd.Stderr = root, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list %s: %w", pattern, err)
	}
	var packages []listedPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listedPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return packages, nil
		} else if err != nil {
			return nil, fmt.Errorf("go list %s: %w", pattern, err)
		}
		packages = append(packages, p)
	}
}
