#include "server/serve/stream/led_debrief.hpp"

namespace turnstone {

void LedDebrief::lead(const void* leader, const LedPosition& position) {
    leader_ = leader;
    ++revision_;
    message_ = frame_message(Opcode::text, led_text(position));
}

void LedDebrief::end(const void* leader) {
    if (leader_ == nullptr || leader_ != leader) return;
    lead(nullptr, {});
}

bool LedDebrief::due(Clock::time_point now) {
    if (told_ == revision_ || now - told_at_ < kTellEvery) return false;
    told_ = revision_;
    told_at_ = now;
    return true;
}

} // namespace turnstone
