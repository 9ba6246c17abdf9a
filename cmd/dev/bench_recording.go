package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"os"
)

// recordedFrames is how long the recording is that is explained for the measurements.
const recordedFrames = 1_000_000

// carTalk is how many frames of the running car stand between two exchanges.
const carTalk = 3

// writeRecording writes a pcapng file (draft-ietf-opsawg-pcapng) of n CAN frames (LINKTYPE_CAN_SOCKETCAN), in which eight
// modules are asked one after another: short answers, long ones of three frames with flow control, refusals, and the car that
// talks to itself in between. It is written here, in a few lines, so that what is measured does not write its own test.
func writeRecording(path string, n int) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(f, 1<<20)
	defer func() { err = errors.Join(err, out.Flush(), f.Close()) }()
	r := recording{out: out, left: n, at: 1_700_000_000_000_000}
	r.block(0x0A0D0D0A, []byte{0x4D, 0x3C, 0x2B, 0x1A, 1, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF})
	r.block(1, []byte{227, 0, 0, 0, 0, 0, 0, 0})
	for i := uint32(0); r.left > 0; i++ {
		r.exchange(i)
	}
	return r.err
}

type recording struct {
	out  *bufio.Writer
	left int
	at   uint64 // microseconds since 1970
	err  error
	room [64]byte
}

func (r *recording) exchange(i uint32) {
	ask, answer := 0x7E0+i%8, 0x7E8+i%8
	id := byte(0x80 + i%16)
	r.frame(ask, 3, 0x22, 0xF1, id, 0x55, 0x55, 0x55, 0x55)
	switch i % 4 {
	case 0, 2:
		r.frame(answer, 5, 0x62, 0xF1, id, byte(i>>8), byte(i), 0xAA, 0xAA)
	case 1:
		r.frame(answer, 0x10, 20, 0x62, 0xF1, id, '1', '2', '3')
		r.frame(ask, 0x30, 0, 0, 0x55, 0x55, 0x55, 0x55, 0x55)
		r.frame(answer, 0x21, '4', '5', '6', '7', '8', '9', 'A')
		r.frame(answer, 0x22, 'B', 'C', 'D', 'E', 'F', byte('0'+i/4%10), byte('0'+i/40%10))
	case 3:
		r.frame(answer, 3, 0x7F, 0x22, 0x31, 0xAA, 0xAA, 0xAA, 0xAA)
	}
	for k := range uint32(carTalk) {
		r.frame(0x100+(i+k)%64, 1, 2, 3, 4, 5, 6, byte(i>>8), byte(i))
	}
}

// frame writes an enhanced packet block with one frame of eight bytes.
func (r *recording) frame(id uint32, data ...byte) {
	if r.left == 0 {
		return
	}
	r.left--
	r.at += 250
	b := r.room[:36]
	le := binary.LittleEndian
	le.PutUint32(b[0:], 0) // the interface
	le.PutUint32(b[4:], uint32(r.at>>32))
	le.PutUint32(b[8:], uint32(r.at))
	le.PutUint32(b[12:], 16)
	le.PutUint32(b[16:], 16)
	binary.BigEndian.PutUint32(b[20:], id)
	b[24], b[25], b[26], b[27] = byte(len(data)), 0, 0, 0
	copy(b[28:36], data)
	r.block(6, b)
}

// block writes a block: its kind, its length, its content of whole words, its length.
func (r *recording) block(kind uint32, content []byte) {
	var word [4]byte
	put := func(v uint32) {
		binary.LittleEndian.PutUint32(word[:], v)
		if _, err := r.out.Write(word[:]); err != nil {
			r.err = err
		}
	}
	size := uint32(len(content) + 12)
	put(kind)
	put(size)
	if _, err := r.out.Write(content); err != nil {
		r.err = err
	}
	put(size)
}
