// Package cable judges what a multimeter says of a diagnostic cable, an adapter and a car's socket.
//
// It is pure: readings in, verdicts out. Pins are those of the 16-pin socket (SAE J1962, ISO 15031-3) and of the
// 9-pin CAN plug (CiA 303-1). A reading is named by where and between which pins it was taken:
//
//	cable:6-7     the cable alone, unplugged at both ends: socket pin 6 to plug pin 7
//	cable:6-14    the same, between two pins of the socket end
//	adapter:2-7   the adapter alone, unplugged: between two pins of its 9-pin plug
//	car:6-14      at the car's socket, adapter unplugged
//
// Limits rest on ISO 11898-2 (resistors, levels), CiA 303-1 and SAE J1962 (pins), and on workshop practice where no
// standard sets one; each verdict names its source.
package cable
