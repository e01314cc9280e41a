#include "server/exchange/import/log/log_times.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include <fmt/format.h>

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

void never_back(std::vector<std::int64_t>& t_ns) {
    std::int64_t latest_ns = std::numeric_limits<std::int64_t>::min();
    for (std::int64_t& each : t_ns) latest_ns = each = std::max(each, latest_ns);
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

    // Station time when each boot's clock read zero, for those that only lie between others.
    std::vector<std::int64_t> zero_ns(boots.size());
    const auto placed = [&](std::size_t i, std::int64_t raw_ns) {
        return boots[i] ? radio.boots[*boots[i]].station_ns(raw_ns) : zero_ns[i] + raw_ns;
    };
    for (auto i = static_cast<std::size_t>(first - boots.begin()); i-- > 0;)
        zero_ns[i] = placed(i + 1, 0) - reach[i].last_raw_ns;
    for (auto i = static_cast<std::size_t>(first - boots.begin()) + 1; i < boots.size(); ++i)
        if (!boots[i]) zero_ns[i] = placed(i - 1, reach[i - 1].last_raw_ns);

    LogTimes out{.method = AlignBy::onboard_time};
    std::int64_t latest_ns = placed(0, reach[0].first_raw_ns);
    for (const LogPacket& packet : log.packets) {
        if (packet.raw_ns >= 0) latest_ns = placed(packet.boot, packet.raw_ns);
        out.t_ns.push_back(latest_ns); // without a time: when what is before it came
    }
    never_back(out.t_ns);
    const BootClock& clock = radio.boots[**first];
    out.zero_s = seconds_between(t_start_ns, placed(0, 0));
    out.sigma_s = clock.bound_s / 2; // of about 95 %
    out.drift_ppm = clock.drift_ppm;
    out.boots_placed =
        static_cast<std::uint32_t>(std::ranges::count_if(boots, [](const auto& boot) { return boot.has_value(); }));
    return out;
}

Result<LogTimes> times_by_signal(const LogIndex& log, const Signal& heard, AlignBy method, std::int64_t t_start_ns) {
    if (log.restarts > 0)
        return fail(fmt::format("the log's clock restarts {} times, and a signal places one of its parts only; cut the "
                                "log there, and give the part of the flight",
                                log.restarts));
    const auto found = analysis::align({heard.t_s, heard.value}, {log.signal.t_s, log.signal.value});
    if (!found) return fail("the log cannot be aligned by " + std::string(word(method)) + ": " + found.error().message);
    LogTimes out{.method = method};
    std::int64_t latest_ns = std::numeric_limits<std::int64_t>::min();
    for (const LogPacket& packet : log.packets) {
        if (packet.raw_ns >= 0)
            latest_ns = t_start_ns + static_cast<std::int64_t>(
                                         std::llround(found->fixed_s(static_cast<double>(packet.raw_ns) * 1e-9) * 1e9));
        out.t_ns.push_back(latest_ns);
    }
    // What comes before the first time came with it.
    const auto known =
        std::ranges::find_if(out.t_ns, [](std::int64_t t) { return t > std::numeric_limits<std::int64_t>::min(); });
    if (known == out.t_ns.end()) return fail("no line of the log has a time that can be");
    std::fill(out.t_ns.begin(), known, *known);
    never_back(out.t_ns);
    out.zero_s = found->fixed_s(0);
    out.sigma_s = found->lag_sigma_s;
    out.drift_ppm = -found->rate * 1e6;
    out.correlation = found->correlation;
    out.boots_placed = 1;
    return out;
}

} // namespace turnstone::exchange
