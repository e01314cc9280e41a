#include "server/record/stored_inputs.hpp"

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

constexpr std::int64_t kSilenceMax_ns = 24 * 3600 * kNsPerS;

/// How much later `b_ns` is, without overflow: a damaged time may be any.
std::uint64_t lead_ns(std::int64_t a_ns, std::int64_t b_ns) noexcept {
    return b_ns <= a_ns ? 0 : static_cast<std::uint64_t>(b_ns) - static_cast<std::uint64_t>(a_ns);
}

std::string seconds_text(std::uint64_t ns) {
    constexpr std::uint64_t kNs = kNsPerS;
    return std::to_string(ns / kNs) + "." + std::to_string(ns % kNs * 10 / kNs) + " s";
}

} // namespace

void InputDamage::add(std::string what) {
    if (count_++ == 0) first_ = std::move(what);
}

std::string InputDamage::text() const {
    return count_ < 2 ? first_ : first_ + "; and " + std::to_string(count_ - 1) + " more of the like";
}

std::int64_t StoredTimes::believed(std::uint64_t input, std::int64_t t_ns, std::int64_t next_ns) {
    const std::int64_t latest_ns = pipeline_.progress().t_ns;
    const std::string name = "input " + std::to_string(input);
    if (t_ns < last_ns_) {
        damage_.add(name + " is dated " + seconds_text(lead_ns(t_ns, last_ns_)) + " before the input that precedes it");
    } else if (t_ns > next_ns && next_ns >= last_ns_) { // otherwise the next one is wrong
        damage_.add(name + " is dated " + seconds_text(lead_ns(next_ns, t_ns)) + " after the input that follows it");
    } else if (lead_ns(latest_ns, t_ns) > static_cast<std::uint64_t>(kSilenceMax_ns)) {
        damage_.add(name + " is dated more than a day after what came before it");
    } else {
        last_ns_ = t_ns;
        return std::max(latest_ns, t_ns);
    }
    return latest_ns;
}

std::int64_t StoredTimes::believed_end(std::int64_t t_ns) {
    const std::int64_t latest_ns = pipeline_.progress().t_ns;
    if (lead_ns(latest_ns, t_ns) <= static_cast<std::uint64_t>(kSilenceMax_ns)) return std::max(latest_ns, t_ns);
    damage_.add("the end is dated more than a day after the last input");
    return latest_ns;
}

std::int64_t plausible_progress_ns(const Progress& stored, const Pipeline& pipeline) noexcept {
    const std::int64_t latest_ns = pipeline.progress().t_ns;
    return lead_ns(latest_ns, stored.t_ns) < static_cast<std::uint64_t>(kSilenceMax_ns)
               ? std::max(latest_ns, stored.t_ns)
               : latest_ns;
}

std::string fault_of(const ChunkRecord& chunk, std::size_t links) {
    if (chunk.link < links) return "";
    return "input " + std::to_string(chunk.input) + " came by link " + std::to_string(chunk.link) +
           ", but the links are 0 to " + std::to_string(static_cast<std::int64_t>(links) - 1) +
           "; its bytes are left out";
}

std::string fault_of(const ActionRecord& action) {
    const auto* unknown = std::get_if<UnknownAction>(&action.action);
    if (unknown == nullptr) return "";
    // Another version may know more actions than this one; each is an object that says which it is.
    const auto json = nlohmann::json::parse(unknown->json, nullptr, false);
    if (json.is_object() && json.contains("action")) return "";
    return "input " + std::to_string(action.input) + ", an action, cannot be read; it is left out";
}

} // namespace turnstone
