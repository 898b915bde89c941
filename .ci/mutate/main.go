// Mutate measures how much the tests of a package notice. It breaks its files
// in one small place at a time (a comparison turned or moved by one, and and or
// swapped, a sum made a difference, a condition held to be always or never
// true, a statement left out), runs the package's tests on each, and lists the
// breaks that no test noticed.
//
//	go run ./.ci/mutate -n 60 ./capacity capacity/quote.go
//
// An error that is passed on isn't swallowed: that takes a disk that fails,
// which is for the tests of faults. A break that doesn't compile doesn't count;
// one that makes the tests run for more than five times their usual time is
// noticed. Files whose tests are in several packages name them all, with commas
// between. The tree stays as it is: the Go tool is told of each broken file by
// an overlay.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// mutant is one break: the text that stands in place of a file's bytes from
// one offset until another.
type mutant struct {
	file        string
	text        []byte // the file's, as it was when the places were found
	line        int
	from, until int
	was, is     string
}

func (m mutant) String() string {
	return fmt.Sprintf("%s:%d: %.70q became %q", m.file, m.line, m.was, m.is)
}

// turned are the operators that take another's place.
var turned = map[token.Token][]string{
	token.EQL: {"!="}, token.NEQ: {"=="}, token.LSS: {">=", "<="}, token.LEQ: {">", "<"}, token.GTR: {"<=", ">="}, token.GEQ: {"<", ">"},
	token.LAND: {"||"}, token.LOR: {"&&"}, token.ADD: {"-"}, token.SUB: {"+"}, token.MUL: {"/"}, token.QUO: {"*"},
	token.ADD_ASSIGN: {"-="}, token.SUB_ASSIGN: {"+="}, token.INC: {"--"}, token.DEC: {"++"},
}

// mutants finds every place of a file that can be broken.
func mutants(name string) ([]mutant, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	files := token.NewFileSet()
	f, err := parser.ParseFile(files, name, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var all []mutant
	put := func(from, until token.Pos, is string) {
		a, b := files.Position(from), files.Position(until)
		all = append(all, mutant{name, text, a.Line, a.Offset, b.Offset, string(text[a.Offset:b.Offset]), is})
	}
	operator := func(at token.Pos, op token.Token) {
		for _, is := range turned[op] {
			put(at, at+token.Pos(len(op.String())), is)
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			operator(n.OpPos, n.Op)
		case *ast.IncDecStmt:
			operator(n.TokPos, n.Tok)
		case *ast.AssignStmt:
			operator(n.TokPos, n.Tok)
			if n.Tok == token.ASSIGN {
				put(n.Pos(), n.End(), "")
			}
		case *ast.ExprStmt:
			put(n.Pos(), n.End(), "")
		case *ast.BranchStmt:
			put(n.Pos(), n.End(), "")
		case *ast.IfStmt:
			cond := string(text[files.Position(n.Cond.Pos()).Offset:files.Position(n.Cond.End()).Offset])
			put(n.Cond.Pos(), n.Cond.End(), "true || "+cond)
			if cond != "err != nil" {
				put(n.Cond.Pos(), n.Cond.End(), "false && ("+cond+")")
			}
		}
		return true
	})
	return all, nil
}

// verdict is what became of a mutant.
type verdict int

const (
	killed verdict = iota
	lived
	unbuilt
)

// try runs the tests on a tree with the break in it.
func (m mutant) try(pkg, dir string, args []string) (verdict, error) {
	broken := filepath.Join(dir, "broken.go")
	if err := os.WriteFile(broken, slices.Concat(m.text[:m.from], []byte(m.is), m.text[m.until:]), 0o600); err != nil {
		return 0, err
	}
	whole, err := filepath.Abs(m.file)
	if err != nil {
		return 0, err
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {whole: broken}})
	if err != nil {
		return 0, err
	}
	list := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(list, overlay, 0o600); err != nil {
		return 0, err
	}
	out, err := test(pkg, append([]string{"-overlay", list}, args...))
	switch {
	case err == nil:
		return lived, nil
	case bytes.Contains(out, []byte("[build failed]")):
		return unbuilt, nil
	}
	return killed, nil
}

func test(pkg string, args []string) ([]byte, error) {
	return exec.Command("go", slices.Concat([]string{"test", "-short", "-failfast", "-vet=off", "-count=1"}, args, strings.Split(pkg, ","))...).CombinedOutput()
}

func main() {
	n := flag.Int("n", 0, "how many breaks to try, drawn at random (0: all)")
	seed := flag.Uint64("seed", 1, "seed of the draw")
	run := flag.String("run", "", "which tests to run (default all)")
	within := flag.Duration("within", time.Hour, "how long to go on: breaks that this doesn't suffice for are left out")
	flag.Parse()
	if err := measure(*n, *seed, *run, time.Now().Add(*within), flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func measure(n int, seed uint64, run string, until time.Time, args []string) error {
	if len(args) < 2 {
		return fmt.Errorf("need a package and its files, have %q", args)
	}
	pkg, files := args[0], args[1:]
	var all []mutant
	for _, f := range files {
		some, err := mutants(f)
		if err != nil {
			return err
		}
		all = append(all, some...)
	}
	found := len(all)
	rand.New(rand.NewPCG(seed, 0)).Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	if n > 0 && n < len(all) {
		all = all[:n]
	}
	dir, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	var tests []string
	if run != "" {
		tests = []string{"-run", run}
	}
	if out, err := test(pkg, tests); err != nil { // builds what the next one is timed without
		return fmt.Errorf("the tests fail before anything is broken: %s", out)
	}
	began := time.Now()
	if _, err := test(pkg, tests); err != nil {
		return err
	}
	limited := append([]string{"-timeout", (5*time.Since(began) + 20*time.Second).String()}, tests...)
	tally := map[verdict]int{}
	tried := 0
	for _, m := range all {
		if time.Now().After(until) {
			break
		}
		tried++
		v, err := m.try(pkg, dir, limited)
		if err != nil {
			return err
		}
		tally[v]++
		if v == lived {
			fmt.Println("not noticed:", m)
		}
	}
	counted := tally[killed] + tally[lived]
	fmt.Printf("%s: %d of %d breaks noticed (%.0f %%); %d tried of %d, %d don't compile\n", strings.Join(files, " "), tally[killed], counted,
		100*float64(tally[killed])/float64(max(1, counted)), tried, found, tally[unbuilt])
	return nil
}
