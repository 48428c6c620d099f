package simcam

// huffman is a code for the difference categories 0 to 16 of lossless JPEG.
type huffman struct {
	bits   [17]uint8 // bits[n] codes of n bits
	values []uint8   // categories, shortest code first
	code   [17]uint32
	length [17]uint8
}

// newHuffman makes the best code of at most 16 bits for the counts: the
// procedure of ITU-T T.81, annex K.2, with the reserved symbol 256 there played
// by the last entry here, so that no code is all ones.
func newHuffman(counts [17]int) *huffman {
	var size [18]int
	h := &huffman{}
	lengths := codeSizes(counts, &size)
	limit(&lengths)
	for n := 1; n <= 16; n++ {
		h.bits[n] = uint8(lengths[n])
	}
	for n := 1; n < len(lengths); n++ {
		for s := range 17 {
			if size[s] == n {
				h.values = append(h.values, uint8(s))
			}
		}
	}
	var code uint32
	k := 0
	for n := uint8(1); n <= 16; n++ {
		for range h.bits[n] {
			h.code[h.values[k]], h.length[h.values[k]] = code, n
			code++
			k++
		}
		code <<= 1
	}
	return h
}

// codeSizes merges the two rarest trees until one is left (figure K.1) and
// returns how many symbols have each code length. No length passes 17: there are
// 18 symbols.
func codeSizes(counts [17]int, size *[18]int) (lengths [33]int) {
	var freq, other [18]int
	copy(freq[:], counts[:])
	freq[17] = 1
	for i := range other {
		other[i] = -1
	}
	rarest := func(not int) int {
		best := -1
		for i, f := range freq {
			if f > 0 && i != not && (best < 0 || f <= freq[best]) {
				best = i
			}
		}
		return best
	}
	deepen := func(i int) (last int) {
		for {
			size[i]++
			if other[i] < 0 {
				return i
			}
			i = other[i]
		}
	}
	for {
		a := rarest(-1)
		b := rarest(a)
		if b < 0 {
			break
		}
		freq[a] += freq[b]
		freq[b] = 0
		other[deepen(a)] = b
		deepen(b)
	}
	for _, s := range size {
		if s > 0 {
			lengths[s]++
		}
	}
	return lengths
}

// limit shortens codes over 16 bits (figure K.3) and drops the reserved one.
func limit(lengths *[33]int) {
	i := 32
	for ; i > 16; i-- {
		for lengths[i] > 0 {
			j := i - 2
			for lengths[j] == 0 {
				j--
			}
			lengths[i] -= 2
			lengths[i-1]++
			lengths[j+1] += 2
			lengths[j]--
		}
	}
	for lengths[i] == 0 {
		i--
	}
	lengths[i]--
}
