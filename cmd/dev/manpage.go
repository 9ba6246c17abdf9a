package main

import (
	"errors"
	"regexp"
	"strings"
)

// The commands of the terminal program stand in one place for people, the table in the README that begins with this line.
const commandTable = "| command | what it does |"

// manCommands makes the list of commands of a manual page out of that table.
func manCommands(readme string) (string, error) {
	_, rest, found := strings.Cut(readme, commandTable+"\n")
	if !found {
		return "", errors.New("the README has no table of commands")
	}
	var b strings.Builder
	for line := range strings.Lines(rest) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "|") {
			break
		}
		cells := strings.Split(strings.Trim(line, "|"), " | ")
		if len(cells) != 2 {
			continue // the line of dashes
		}
		b.WriteString(".TP\n" + roff(cells[0]) + "\n" + roff(cells[1]) + ".\n")
	}
	if b.Len() == 0 {
		return "", errors.New("the README's table of commands is empty")
	}
	return strings.TrimRight(b.String(), "\n"), nil
}

var (
	codeSpan = regexp.MustCompile("`([^`]*)`")
	roffSign = strings.NewReplacer(`\`, `\e`, "-", `\-`, "…", "...")
)

// roff turns text with pieces in backquotes into that of a manual page, with those pieces in bold letters.
func roff(text string) string {
	text = codeSpan.ReplaceAllString(roffSign.Replace(strings.TrimSpace(text)), `\fB$1\fR`)
	if strings.HasPrefix(text, ".") || strings.HasPrefix(text, "'") {
		text = `\&` + text // a line that begins so is a command of roff
	}
	return text
}
