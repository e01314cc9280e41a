/* Uses protocol/firmware/support.h as it stands. Prints the checksum of "123456789", the frame of the packet given in
   hexadecimal, and then a float's bits and the half made of it, line by line. */
#include <stdio.h>
#include <stdlib.h>

#include "protocol/firmware/support.h"

static void print_frame(const char* hex) {
    static uint8_t out[1024];
    const size_t size = strlen(hex) / 2;
    const size_t behind = size / 254 + 1; /* stuffing adds at most this, and never overtakes */
    size_t i;
    for (i = 0; i < size; ++i) {
        const char pair[3] = {hex[2 * i], hex[2 * i + 1], '\0'};
        out[behind + i] = (uint8_t)strtoul(pair, NULL, 16);
    }
    const size_t written = turnstone_finish(out, out + behind, size);
    for (i = 0; i < written; ++i) printf("%02X", (unsigned)out[i]);
    printf("\n");
}

int main(int argument_count, char** arguments) {
    uint32_t i;
    if (argument_count != 2) return 2;
    printf("%04X\n", (unsigned)turnstone_crc16((const uint8_t*)"123456789", 9));
    print_frame(arguments[1]);
    for (i = 0; i < 0x20000u; ++i) { /* every exponent, and fractions around every tie */
        const uint32_t fraction = i % 4u == 0 ? 0u : i % 4u == 1u ? 0x1000u : i % 4u == 2u ? 0x0FFFu : 0x1001u;
        const uint32_t bits = (i << 15) | fraction;
        float value;
        memcpy(&value, &bits, sizeof value);
        printf("%lu %u\n", (unsigned long)bits, (unsigned)turnstone_half_bits(value));
    }
    return 0;
}
