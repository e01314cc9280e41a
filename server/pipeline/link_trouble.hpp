#pragma once
/// What may be wrong with a link, as its alert says it. Found by server/pipeline/link.
#include "shared/words.hpp"

namespace turnstone {

/// In the order in which one is named before the next.
enum class LinkTrouble : unsigned char {
    no_frames,          ///< bytes, but for 6 s no good frame
    dictionary_differs, ///< the vehicle says that it uses another version of the dictionary
    unreadable,         ///< good frames of an APID or a size that the dictionary does not have
    values_impossible,  ///< packets whose values no sensor can say, from the first on: fields in another order
    frames_repeat,      ///< the same frame for 5 s, and no other
    time_stuck          ///< every packet of 5 s has the same on-board time
};
consteval auto words_of(LinkTrouble) {
    return words<LinkTrouble::time_stuck>("no_frames", "dictionary_differs", "unreadable", "values_impossible",
                                          "frames_repeat", "time_stuck");
}

/// What bytes look like that hold no frame.
enum class ByteLook : unsigned char {
    too_few,
    one_byte,    ///< one byte over and over; 0x00 and 0xFF: all bits the same
    nmea,        ///< NMEA 0183 sentences (IEC 61162-1): $ or !, a checksum that fits, CR LF
    text,        ///< printable ASCII
    start_bytes, ///< a pair of bytes comes again and again, as at the start of the packets of a binary protocol
    slow_bits,   ///< every bit comes at least twice: the sender is slower than this line is set to
    noise        ///< none of these
};
consteval auto words_of(ByteLook) {
    return words<ByteLook::noise>("too_few", "one_byte", "nmea", "text", "start_bytes", "slow_bits", "noise");
}

} // namespace turnstone
