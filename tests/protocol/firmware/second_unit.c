#include "stress_rig.h"

int second_unit_bytes(void);

int second_unit_bytes(void) {
    uint8_t out[STRESS_RIG_BITS_FRAME_BYTES_MAX];
    struct stress_rig_bits in;
    memset(&in, 0, sizeof in);
    return (int)stress_rig_encode_bits(out, sizeof out, 0, 0, 0, &in);
}
