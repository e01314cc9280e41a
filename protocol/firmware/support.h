/* Functions every generated header carries: checksum, bit packing, rounding, stuffing. The generator puts this text
   into the header with the vehicle's prefix in place of "turnstone_"; as it stands, it compiles and is tested. */
#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* CRC-16/IBM-3740: polynomial 0x1021, initial value 0xFFFF; one byte at a time, without a table. */
static inline uint16_t turnstone_crc16(const uint8_t* bytes, size_t size) {
    uint32_t crc = 0xFFFFu;
    size_t i;
    for (i = 0; i < size; ++i) {
        uint32_t x = (crc >> 8) ^ bytes[i];
        x ^= x >> 4;
        crc = ((crc << 8) ^ (x << 12) ^ (x << 5) ^ x) & 0xFFFFu;
    }
    return (uint16_t)crc;
}

static inline void turnstone_put_big(uint8_t* at, unsigned bytes, uint64_t value) {
    while (bytes > 0) {
        --bytes;
        at[bytes] = (uint8_t)(value & 0xFFu);
        value >>= 8;
    }
}

static inline void turnstone_put_little(uint8_t* at, unsigned bytes, uint64_t value) {
    unsigned i;
    for (i = 0; i < bytes; ++i) {
        at[i] = (uint8_t)(value & 0xFFu);
        value >>= 8;
    }
}

/* `width` bits, most significant first, from bit `bit` on; the bits there must be zero. */
static inline void turnstone_put_bits(uint8_t* at, size_t bit, unsigned width, uint64_t value) {
    while (width > 0) {
        const unsigned room = 8u - (unsigned)(bit % 8u);
        const unsigned part = width < room ? width : room;
        const unsigned bits = (unsigned)(value >> (width - part)) & ((1u << part) - 1u);
        at[bit / 8u] = (uint8_t)(at[bit / 8u] | (bits << (room - part)));
        bit += part;
        width -= part;
    }
}

static inline uint64_t turnstone_at_most(uint64_t value, uint64_t greatest) {
    return value > greatest ? greatest : value;
}

static inline uint64_t turnstone_between(int64_t value, int64_t least, int64_t greatest) {
    return (uint64_t)(value < least ? least : value > greatest ? greatest : value);
}

static inline uint32_t turnstone_float_bits(float value) {
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* IEEE 754 binary16, rounded to nearest, ties to even; too large becomes infinity. */
static inline uint16_t turnstone_half_bits(float value) {
    const uint32_t bits = turnstone_float_bits(value);
    const uint32_t sign = (bits >> 16) & 0x8000u;
    const uint32_t magnitude = bits & 0x7FFFFFFFu;
    uint32_t fraction;
    uint32_t shift;
    uint32_t half;
    uint32_t rest;
    if (magnitude > 0x7F800000u) return (uint16_t)(sign | 0x7E00u);
    if (magnitude >= 0x47800000u) return (uint16_t)(sign | 0x7C00u);
    if (magnitude >= 0x38800000u)
        return (uint16_t)(sign | ((magnitude - 0x38000000u + 0xFFFu + ((magnitude >> 13) & 1u)) >> 13));
    if (magnitude <= 0x33000000u) return (uint16_t)sign;
    fraction = (magnitude & 0x7FFFFFu) | 0x800000u;
    shift = 126u - (magnitude >> 23);
    half = fraction >> shift;
    rest = fraction & ((1u << shift) - 1u);
    if (rest > (1u << (shift - 1u)) || (rest == (1u << (shift - 1u)) && (half & 1u) != 0)) ++half;
    return (uint16_t)(sign | half);
}

/* Nearest whole number within the bounds; NaN becomes `least`. */
static inline int64_t turnstone_nearest(double value, double least, double greatest) {
    if (!(value > least)) return (int64_t)least;
    if (value > greatest) return (int64_t)greatest;
    return value < 0 ? -(int64_t)(0.5 - value) : (int64_t)(value + 0.5);
}

/* Appends the checksum to the packet and stuffs both into `out` with the delimiter. The packet lies in `out`, far
   enough from its start that stuffing never overtakes it. */
static inline size_t turnstone_finish(uint8_t* out, uint8_t* packet, size_t packet_bytes) {
    const size_t size = packet_bytes + 2u;
    size_t code_at = 0;
    size_t write = 1;
    unsigned code = 1;
    size_t i;
    turnstone_put_big(packet + packet_bytes, 2, turnstone_crc16(packet, packet_bytes));
    for (i = 0; i < size; ++i) {
        const uint8_t byte = packet[i];
        if (byte != 0) {
            out[write++] = byte;
            ++code;
        }
        if (byte == 0 || (code == 0xFFu && i + 1u < size)) {
            out[code_at] = (uint8_t)code;
            code_at = write++;
            code = 1;
        }
    }
    out[code_at] = (uint8_t)code;
    out[write++] = 0;
    return write;
}
