// Package testdata holds reference data for tests, each with its source at its head. The programs never use it.
package testdata
