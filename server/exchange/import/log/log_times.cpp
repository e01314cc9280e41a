#include "server/exchange/import/log/log_times.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>
#include <utility>

#include "server/analysis/alignment/alignment.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

struct Reach {
    std::int64_t first_raw_ns = 0, last_raw_ns = 0;
    bool any = false;
};

std::vector<Reach> reach_of_boots(const LogIndex& log) {
    std::vector<Reach> boots(log.restarts + std::size_t{1});
    for (const LogPacket& packet : log.packets) {
        if (packet.raw_ns < 0) continue;
        Reach& boot = boots[packet.boot];
        boot.first_raw_ns = boot.any ? std::min(boot.first_raw_ns, packet.raw_ns) : packet.raw_ns;
        boot.last_raw_ns = boot.any ? std::max(boot.last_raw_ns, packet.raw_ns) : packet.raw_ns;
        boot.any = true;
    }
    return boots;
}

/// The boot of the radio's record that each boot of the log is: the one with most packets of both.
std::vector<std::optional<std::size_t>> boots_by_packets(const LogIndex& log, const RadioRecord& radio) {
    std::vector<std::vector<std::size_t>> votes(log.restarts + std::size_t{1},
                                                std::vector<std::size_t>(radio.boots.size()));
    for (const LogPacket& packet : log.packets) {
        if (packet.id == 0 || packet.raw_ns < 0) continue;
        for (const RadioPacket& heard : radio.with_id(packet.id))
            if (heard.content == packet.content && heard.boot < radio.boots.size()) ++votes[packet.boot][heard.boot];
    }
    std::vector<std::optional<std::size_t>> out;
    for (const auto& of_boot : votes) {
        const auto most = std::ranges::max_element(of_boot);
        out.emplace_back();
        if (most != of_boot.end() && *most > 0) out.back() = static_cast<std::size_t>(most - of_boot.begin());
    }
    return out;
}

/// The same for a log without packets of the radio's: the one whose times it shares for longest.
std::vector<std::optional<std::size_t>> boots_by_times(const std::vector<Reach>& boots, const RadioRecord& radio) {
    std::vector<std::optional<std::size_t>> out;
    for (const Reach& boot : boots) {
        out.emplace_back();
        std::int64_t longest_ns = 0;
        for (std::size_t i = 0; i < radio.boots.size(); ++i) {
            if (radio.boots[i].empty()) continue;
            const std::int64_t common_ns = std::min(boot.last_raw_ns, radio.boots[i].last_raw_ns()) -
                                           std::max(boot.first_raw_ns, radio.boots[i].first_raw_ns());
            if (!boot.any || common_ns <= longest_ns) continue;
            longest_ns = common_ns;
            out.back() = i;
        }
    }
    return out;
}

/// Station times of the log's boots: of those that are known, and of the others as if each had begun when the one
/// before it ended, or ended when the one after it began.
class Placed {
  public:
    /// `known`: station time of a clock's reading, by boot; empty: not known. One at least is.
    template <class Known>
    Placed(const std::vector<Reach>& reach, Known known) : known_(std::move(known)), zero_ns_(reach.size()) {
        std::size_t first = 0;
        while (!known_(first, 0)) ++first;
        for (std::size_t i = first; i-- > 0;) zero_ns_[i] = (*this)(i + 1, 0) - reach[i].last_raw_ns;
        for (std::size_t i = first + 1; i < reach.size(); ++i)
            if (!known_(i, 0)) zero_ns_[i] = (*this)(i - 1, reach[i - 1].last_raw_ns);
    }
    [[nodiscard]] std::int64_t operator()(std::size_t boot, std::int64_t raw_ns) const {
        return known_(boot, raw_ns).value_or(zero_ns_[boot] + raw_ns);
    }

  private:
    std::function<std::optional<std::int64_t>(std::size_t boot, std::int64_t raw_ns)> known_;
    std::vector<std::int64_t> zero_ns_; ///< when the clock of a boot that is not known read zero
};

/// Of each packet; one without a time came when what is before it came. Never going back.
std::vector<std::int64_t> times_of(const LogIndex& log, const std::vector<Reach>& reach, const Placed& placed) {
    std::vector<std::int64_t> t_ns;
    std::int64_t last_ns = placed(0, reach[0].first_raw_ns), latest_ns = last_ns;
    for (const LogPacket& packet : log.packets) {
        if (packet.raw_ns >= 0) last_ns = placed(packet.boot, packet.raw_ns);
        t_ns.push_back(latest_ns = std::max(latest_ns, last_ns));
    }
    return t_ns;
}

} // namespace

Result<LogTimes> times_by_clock(const LogIndex& log, const RadioRecord& radio, std::int64_t t_start_ns) {
    const auto reach = reach_of_boots(log);
    const bool has_packets = std::ranges::any_of(log.packets, [](const LogPacket& packet) { return packet.id != 0; });
    const auto boots = has_packets ? boots_by_packets(log, radio) : boots_by_times(reach, radio);
    const auto first = std::ranges::find_if(boots, [](const auto& boot) { return boot.has_value(); });
    if (first == boots.end())
        return fail("no packet of the log was heard by the radio too, so that its clock says nothing here; give the "
                    "recording of the same flight, or align by acceleration or pressure");

    const Placed placed(reach, [&](std::size_t boot, std::int64_t raw_ns) -> std::optional<std::int64_t> {
        if (!boots[boot]) return std::nullopt;
        return radio.boots[*boots[boot]].station_ns(raw_ns);
    });
    LogTimes out{.method = AlignBy::onboard_time, .t_ns = times_of(log, reach, placed)};
    const BootClock& clock = radio.boots[**first];
    out.zero_s = seconds_between(t_start_ns, placed(0, 0));
    out.sigma_s = clock.bound_s / 2; // of about 95 %
    out.drift_ppm = clock.drift_ppm;
    out.boots_placed =
        static_cast<std::uint32_t>(std::ranges::count_if(boots, [](const auto& boot) { return boot.has_value(); }));
    return out;
}

namespace {

using Alignments = std::vector<std::optional<analysis::Alignment>>;

/// A part that would lie on another one's time is in the wrong place: the one that less speaks for is let go.
void drop_contradictions(const std::vector<Reach>& reach, Alignments& found) {
    const auto at_s = [&](std::size_t boot, std::int64_t raw_ns) {
        return found[boot]->fixed_s(static_cast<double>(raw_ns) * 1e-9);
    };
    for (std::size_t later = 1; later < found.size(); ++later)
        for (std::size_t earlier = later; found[later] && earlier-- > 0;) {
            if (!found[earlier]) continue;
            const double room_s = 3 * (found[earlier]->lag_sigma_s + found[later]->lag_sigma_s);
            if (at_s(earlier, reach[earlier].last_raw_ns) <= at_s(later, reach[later].first_raw_ns) + room_s) continue;
            (found[earlier]->samples < found[later]->samples ? found[earlier] : found[later]).reset();
        }
}

} // namespace

Result<LogTimes> times_by_signal(const LogIndex& log, const Signal& heard, AlignBy method, std::int64_t t_start_ns) {
    const auto reach = reach_of_boots(log);
    Alignments found;
    std::string why = "no value of it is in the log";
    std::size_t most_values = 0;
    for (const Signal& signal : log.signals) {
        const auto aligned = analysis::align({heard.t_s, heard.value}, {signal.t_s, signal.value});
        found.emplace_back(aligned ? std::optional(*aligned) : std::nullopt);
        if (!aligned && signal.t_s.size() > most_values) {
            why = aligned.error().message;
            most_values = signal.t_s.size();
        }
    }
    drop_contradictions(reach, found);
    const auto samples = [](const std::optional<analysis::Alignment>& each) { return each ? each->samples : 0; };
    const auto best = std::ranges::max_element(found, {}, samples);
    if (best == found.end() || !*best)
        return fail("the log cannot be aligned by " + std::string(word(method)) + ": " + why);
    const Placed placed(reach, [&](std::size_t boot, std::int64_t raw_ns) -> std::optional<std::int64_t> {
        if (!found[boot]) return std::nullopt;
        const double t_s = found[boot]->fixed_s(static_cast<double>(raw_ns) * 1e-9);
        return t_start_ns + static_cast<std::int64_t>(std::llround(t_s * 1e9));
    });
    LogTimes out{.method = method, .t_ns = times_of(log, reach, placed)};
    out.zero_s = seconds_between(t_start_ns, placed(0, 0));
    for (const auto& each : found)
        if (each) out.sigma_s = std::max(out.sigma_s, each->lag_sigma_s);
    out.drift_ppm = -(*best)->rate * 1e6;
    out.correlation = (*best)->correlation;
    out.boots_placed = static_cast<std::uint32_t>(std::ranges::count_if(found, samples));
    return out;
}

} // namespace turnstone::exchange
