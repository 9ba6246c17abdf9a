// Package look is how Readback looks: the palette, the type, the flow of a page, and the drawn parts (byte ribbon,
// gate, bubbles, step circles, status marks, the button that is held).
//
// Nothing here knows a car or an adapter: parts take plain values and give back what the owner did. State is always
// a shape and a word, colour comes third. Every part that acts takes the keyboard and shows a ring while it has it.
//
// Pages are laid out by height for width: a part that wraps tells how high it is for a width ([HeightFor]), so that
// one pass settles a page.
package look
