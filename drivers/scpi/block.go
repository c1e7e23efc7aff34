package scpi

import (
	"bytes"
	"fmt"
	"strconv"
)

// MaxBlock is the longest block of definite length: nine digits.
const MaxBlock = 999_999_999

// EncodeBlock writes data of definite length: #, the number of digits, the
// length, the bytes (IEEE 488.2 clause 8.7.9).
func EncodeBlock(data []byte) ([]byte, error) {
	if len(data) > MaxBlock {
		return nil, fmt.Errorf("%d bytes are too many for one block of definite length; %d is the most", len(data), MaxBlock)
	}
	length := strconv.Itoa(len(data))
	return append([]byte("#"+strconv.Itoa(len(length))+length), data...), nil
}

// EncodeIndefiniteBlock writes data of which the end of the message is the end.
// The LF that ends it goes with END, which a stream can't carry: over a socket
// or a serial line the data must hold no LF.
func EncodeIndefiniteBlock(data []byte) []byte { return append([]byte("#0"), data...) }

// Block is block data taken apart.
type Block struct {
	Data     []byte // shares memory with the message
	Definite bool
	Rest     []byte // what comes after it in the message
}

// DecodeBlock reads the block that the message begins with. One of indefinite
// length goes to the end of the message, less one LF.
func DecodeBlock(message []byte) (Block, error) {
	head, length, definite, err := blockHead(string(message))
	if err != nil {
		return Block{}, err
	}
	data := message[head:]
	if !definite {
		return Block{Data: bytes.TrimSuffix(data, []byte("\n"))}, nil
	}
	if length > len(data) {
		return Block{}, fmt.Errorf("block of %d bytes is cut off after %d", length, len(data))
	}
	return Block{Data: data[:length], Definite: true, Rest: data[length:]}, nil
}

// blockHead reads what comes before the data.
func blockHead(s string) (head, length int, definite bool, err error) {
	if len(s) < 2 || s[0] != '#' || !isDigit(s[1]) {
		return 0, 0, false, fmt.Errorf("%s is no block; expected #, a digit, a length and the data, such as #15HELLO", show(s))
	}
	digits := int(s[1] - '0')
	if digits == 0 {
		return 2, 0, false, nil
	}
	if len(s) < 2+digits {
		return 0, 0, false, fmt.Errorf("block %s is cut off within its length of %d digits", show(s), digits)
	}
	for i := 2; i < 2+digits; i++ {
		if !isDigit(s[i]) {
			return 0, 0, false, fmt.Errorf("%s is no block: its length has %d digits, and %q is none", show(s), digits, s[i])
		}
		length = length*10 + int(s[i]-'0')
	}
	return 2 + digits, length, true, nil
}
