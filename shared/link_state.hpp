#pragma once
/// The state of a link, as links report it and operators read it.
#include "shared/words.hpp"

namespace turnstone {

enum class LinkState : unsigned char {
    opening,     ///< trying
    open,        ///< open, bytes came within the last 3 s
    no_data,     ///< open, nothing for 3 s
    lost,        ///< was open; unplugged or closed by the other side; being retried
    cannot_open, ///< being retried
    end_of_file
};
consteval auto words_of(LinkState) {
    return words<LinkState::end_of_file>("opening", "open", "no_data", "lost", "cannot_open", "end_of_file");
}

} // namespace turnstone
