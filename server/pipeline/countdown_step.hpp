#pragma once
#include "shared/words.hpp"

namespace turnstone {

/// What an operator does with the station's countdown.
enum class CountdownStep : unsigned char {
    run,    ///< to a T-0
    hold,   ///< as it stands, or with so much to go
    resume, ///< from where it was held
    off
};
consteval auto words_of(CountdownStep) {
    return words<CountdownStep::off>("run", "hold", "resume", "off");
}

} // namespace turnstone
