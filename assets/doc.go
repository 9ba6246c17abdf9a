// Package assets holds the data that Readback's programs carry with them: the tables of trouble codes, the list of read-back
// words, the lessons, the scenarios and profiles of practice cars, the licences, and the icon. It reads none of them; who uses
// them does. What is invented, such as the practice cars, is in the folders scenarios and profiles alone.
package assets
