/* Fills the structs of the generated header of tests/golden/dictionary/stress.json with random values, encodes them and
   prints each frame followed by what the ground must read from it:

     frame HEX
     n TABLE ROW CHANNEL VALUE TOLERANCE     a number, by its place in the row
     t TABLE ROW CHANNEL TEXT                a text

   Expected values come from the formulas in the dictionary, written out again here by hand. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "stress_rig.h"

int second_unit_bytes(void); /* second_unit.c: the header must be usable in several translation units */

static uint64_t state = 88172645463325252u;

static uint64_t random_bits(void) {
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
}

/* Uniform in [-1, 1). */
static double random_unit(void) {
    return (double)(int64_t)(random_bits() >> 11) / 4503599627370496.0 - 1.0;
}

static double limited(double value, double least, double greatest) {
    return value < least ? least : value > greatest ? greatest : value;
}

static void number(unsigned table, unsigned row, unsigned channel, double value, double tolerance) {
    printf("n %u %u %u %.17g %.17g\n", table, row, channel, value, tolerance);
}

static void print_frame(const uint8_t* frame, size_t size) {
    size_t i;
    if (size == 0) exit(3);
    printf("frame ");
    for (i = 0; i < size; ++i) printf("%02X", (unsigned)frame[i]);
    printf("\n");
}

static uint8_t out[STRESS_RIG_LONGEST_FRAME_BYTES_MAX];

static void bits(uint16_t sequence_count) {
    struct stress_rig_bits in;
    const double charge = 5e6 * random_unit(); /* beyond what 24 bits hold now and then */
    unsigned k;
    in.flag = (uint8_t)(random_bits() & 1);
    in.mode = STRESS_RIG_BITS_MODE_5_V;
    in.trim = (int8_t)(random_bits() & 0xFF);
    in.steps = (uint16_t)random_bits();
    in.charge = stress_rig_raw_bits_charge(charge);
    in.serial = random_bits();
    in.clock = (int64_t)random_bits();
    for (k = 0; k < 3; ++k) in.level[k] = (uint8_t)(random_bits() & 31);
    in.sign = -2;
    in.span = (int64_t)random_bits() >> 17;
    print_frame(out, stress_rig_encode_bits(out, sizeof out, sequence_count, 1000, 0x8000, &in));
    number(0, 0, 0, in.flag, 0);
    number(0, 0, 1, 5, 0);
    number(0, 0, 2, limited(in.trim, -16, 15), 0);
    number(0, 0, 3, limited(in.steps, 0, 4095), 0);
    number(0, 0, 4, limited(charge, -7 - 0.25 * 8388608, -7 + 0.25 * 8388607), 0.1251);
    number(0, 0, 5, (double)in.serial, 0);
    number(0, 0, 6, (double)in.clock, 0);
    for (k = 0; k < 3; ++k) number(0, 0, 7 + k, in.level[k], 0);
    number(0, 0, 10, -2, 0);
    number(0, 0, 11, (double)in.span, 0);
}

static void little(uint16_t sequence_count) {
    struct stress_rig_little in;
    const double depth = 9e4 * random_unit();
    const double turn = 2200 * random_unit();
    const double ratio = 100 * random_unit();
    unsigned k;
    in.half_word = (uint16_t)random_bits();
    in.depth = stress_rig_raw_little_depth(depth);
    in.turn = stress_rig_raw_little_turn(turn);
    in.wide = random_bits();
    in.ratio = (float)ratio;
    in.speed = (float)(1e6 * random_unit());
    in.precise = 1e200 * random_unit();
    for (k = 0; k < 5; ++k) in.row[k] = (int16_t)(random_bits() & 0xFFFF);
    in.swapped = (uint32_t)random_bits();
    print_frame(out, stress_rig_encode_little(out, sizeof out, sequence_count, 4294967295u, 65535, &in));
    number(1, 0, 0, in.half_word, 0);
    number(1, 0, 1, limited(depth, 3 - 0.01 * 8388608, 3 + 0.01 * 8388607), 0.005001);
    number(1, 0, 2, limited(turn, -1e-6 * 2147483647, 1e-6 * 2147483648), 5.001e-7);
    number(1, 0, 3, (double)in.wide, 0);
    number(1, 0, 4, ratio, 100.0 / 2048); /* eleven significant bits */
    number(1, 0, 5, in.speed, 0);
    number(1, 0, 6, in.precise, 0);
    for (k = 0; k < 5; ++k) number(1, 0, 7 + k, in.row[k], 0);
    number(1, 0, 12, in.swapped, 0);
}

static void curves(uint16_t sequence_count) {
    struct stress_rig_curves in;
    const double raw_tank = 1500 * random_unit();
    unsigned k;
    memset(&in, 0, sizeof in);
    in.thermistor = (uint8_t)(random_bits() & 0xFF);
    in.tank = (int16_t)raw_tank;
    memcpy(in.tag, "ab\0hidden", 7);
    memcpy(in.words[0], "xyz", 3);
    memcpy(in.words[1], "q\0\0", 3);
    for (k = 0; k < 3; ++k) in.quarter[k] = (float)k * 0.25f;
    print_frame(out, stress_rig_encode_curves(out, sizeof out, sequence_count, 7, 1, &in));
    number(2, 0, 0, 250 + 0.5 * in.thermistor - 0.001 * in.thermistor * in.thermistor, 1e-9);
    number(2, 0, 1, in.tank < 0 ? 40 + 0.4 * in.tank : 40 + in.tank, 1e-9);
    for (k = 0; k < 3; ++k) number(2, 0, 2 + k, 0.25 * k, 0);
    printf("t 2 0 0 ab\nt 2 0 1 xyz\nt 2 0 2 q\n");
}

static void burst(uint16_t sequence_count) {
    struct stress_rig_burst in;
    double x[STRESS_RIG_BURST_WAVE_COUNT];
    unsigned k;
    in.gain_step = 6;
    for (k = 0; k < STRESS_RIG_BURST_WAVE_COUNT; ++k) {
        x[k] = 250 * random_unit();
        in.wave[k].x = stress_rig_raw_burst_wave_x(x[k]);
        in.wave[k].y = stress_rig_raw_burst_wave_y(-x[k]);
        in.wave[k].ok[0] = (uint8_t)(k & 1);
        in.wave[k].ok[1] = 9; /* more than one bit: limited to 1 */
    }
    print_frame(out, stress_rig_encode_burst(out, sizeof out, sequence_count, 0, 0, &in));
    number(3, 0, 0, 6, 0);
    for (k = 0; k < STRESS_RIG_BURST_WAVE_COUNT; ++k) {
        number(4, 1 + k, 0, limited(x[k], -204.8, 204.7), 0.050001);
        number(4, 1 + k, 1, limited(-x[k], -204.8, 204.7), 0.050001);
        number(4, 1 + k, 2, k & 1, 0);
        number(4, 1 + k, 3, 1, 0);
    }
}

static void longest(uint16_t sequence_count) {
    struct stress_rig_longest in;
    unsigned k;
    unsigned j;
    const int no_zeros = sequence_count % 2; /* then stuffing adds the most it can */
    for (k = 0; k < STRESS_RIG_LONGEST_BLOCK_COUNT; ++k)
        for (j = 0; j < 83; ++j)
            in.block[k].octet[j] = (uint8_t)(no_zeros ? 1 + random_bits() % 255 : random_bits() % 3);
    if (stress_rig_encode_longest(out, sizeof out - 1, sequence_count, 1, 1, &in) != 0) exit(4); /* it must not fit */
    print_frame(out, stress_rig_encode_longest(out, sizeof out, sequence_count, 0xFFFFFFFFu, 0xFFFFu, &in));
    for (k = 0; k < STRESS_RIG_LONGEST_BLOCK_COUNT; ++k)
        for (j = 0; j < 83; ++j) number(5, k, j, in.block[k].octet[j], 0);
}

int main(void) {
    unsigned i;
    if (second_unit_bytes() == 0) return 5;
    if (stress_rig_raw_bits_charge(1e300) != 8388607) return 6; /* far too large is limited */
    for (i = 0; i < 60; ++i) {
        bits((uint16_t)(16380 + i)); /* passes the sequence count's end */
        little((uint16_t)i);
        curves((uint16_t)i);
        burst((uint16_t)i);
        if (i < 6) longest((uint16_t)i);
    }
    return 0;
}
