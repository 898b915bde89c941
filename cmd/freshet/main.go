package main

import (
	"context"
	"os"
	"time"
	_ "time/tzdata" // a PC may lack the time zones
)

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr, time.Now))
}
