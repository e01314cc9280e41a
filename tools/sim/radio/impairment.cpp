#include "tools/sim/radio/impairment.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace turnstone::sim {

namespace {

/// Steepness of the loss of packets around the edge of range, per decibel.
constexpr double kEdge_db = 1.5;
/// A whip along the body radiates with the sine of the angle from the axis, and never quite zero.
constexpr double kPatternLeast = 0.12;

struct Interval {
    double begin_s;
    double end_s;
};

std::vector<Interval> draw_fades(const Impairment& impairment, double end_s, Random& random) {
    std::vector<Interval> fades;
    if (impairment.fades_per_minute <= 0.0) return fades;
    const double mean_gap_s = 60.0 / impairment.fades_per_minute;
    for (double t_s = random.exponential(mean_gap_s); t_s < end_s; t_s += random.exponential(mean_gap_s)) {
        fades.push_back({t_s, t_s + impairment.fade_s});
        t_s += impairment.fade_s;
    }
    return fades;
}

/// Probability that range and antenna lose a packet: free-space loss and pattern against the margin at the
/// pad.
double range_loss(const Impairment& impairment, const TruthSample& sample) {
    if (impairment.range_half_m <= 0.0) return 0.0;
    const double range_m = std::max(sample.position_enu_m.norm(), 1.0);
    const Eigen::Vector3d sight = sample.position_enu_m / range_m;
    const double along = sight.dot(sample.q_local_body * Eigen::Vector3d::UnitX());
    const double pattern = std::max(kPatternLeast, std::sqrt(std::max(0.0, 1.0 - along * along)));
    const double margin_db = 20.0 * std::log10(impairment.range_half_m / range_m * pattern);
    return 1.0 / (1.0 + std::exp(margin_db / kEdge_db));
}

std::uint32_t flip_bits(std::uint8_t* bytes, std::size_t size, double bit_error, Random& random) {
    if (bit_error <= 0.0) return 0;
    std::uint32_t changed = 0;
    std::size_t last = size;
    const double bits = static_cast<double>(size) * 8.0;
    // Gaps between errors of a memoryless channel are geometric.
    const double scale = std::log1p(-bit_error);
    for (double bit = std::floor(std::log1p(-random.uniform()) / scale); bit < bits;
         bit += 1.0 + std::floor(std::log1p(-random.uniform()) / scale)) {
        const auto index = static_cast<std::size_t>(bit);
        bytes[index / 8] = static_cast<std::uint8_t>(bytes[index / 8] ^ (1U << (index % 8)));
        changed += index / 8 != last ? 1U : 0U;
        last = index / 8;
    }
    return changed;
}

std::uint32_t overwrite_run(std::uint8_t* bytes, std::size_t size, std::size_t run_max, Random& random) {
    const std::size_t begin = random.below(size);
    const std::size_t end = std::min(size, begin + 1 + random.below(run_max));
    std::uint32_t changed = 0;
    for (std::size_t i = begin; i < end; ++i) {
        const auto value = static_cast<std::uint8_t>(random.below(256));
        changed += bytes[i] != value ? 1U : 0U;
        bytes[i] = value;
    }
    return changed;
}

/// Puts the deliveries on one serial line, in order of arrival, and finds which can be decoded.
void lay_out(DeliveredStream& out, const std::vector<std::uint8_t>& damaged, double byte_s) {
    std::vector<std::size_t> order(out.deliveries.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        return out.deliveries[a].t_begin_s < out.deliveries[b].t_begin_s;
    });
    std::vector<Delivery> line;
    line.reserve(order.size());
    double free_s = 0.0;
    bool delimited = true;
    for (const std::size_t index : order) {
        Delivery delivery = out.deliveries[index];
        delivery.t_begin_s = std::max(delivery.t_begin_s, free_s);
        delivery.t_end_s = delivery.t_begin_s + byte_s * static_cast<double>(delivery.size);
        free_s = delivery.t_end_s;
        PacketFate& fate = out.fates[delivery.packet];
        fate.merged = fate.merged || !delimited;
        fate.intact_copies += delimited && damaged[index] == 0 ? 1U : 0U;
        delimited = out.bytes[delivery.offset + delivery.size - 1] == 0;
        line.push_back(delivery);
    }
    out.deliveries = std::move(line);
}

} // namespace

std::optional<Impairment> impairment_from_name(std::string_view name) {
    if (name == "clean") return Impairment{};
    if (name == "mild")
        return Impairment{.loss = 0.01,
                          .bit_error = 2e-6,
                          .burst = 0.002,
                          .duplicate = 0.001,
                          .truncation = 0.001,
                          .delay_s = 0.015,
                          .jitter_s = 0.002,
                          .reorder = 0.0005,
                          .range_half_m = 9000.0};
    if (name == "rough")
        return Impairment{.loss = 0.10,
                          .bit_error = 2e-5,
                          .burst = 0.01,
                          .duplicate = 0.01,
                          .truncation = 0.005,
                          .delay_s = 0.03,
                          .jitter_s = 0.01,
                          .reorder = 0.005,
                          .fades_per_minute = 2.0,
                          .fade_s = 2.0,
                          .range_half_m = 4000.0};
    return std::nullopt;
}

std::string_view to_string(Fate fate) {
    switch (fate) {
    case Fate::delivered: return "delivered";
    case Fate::lost: return "lost";
    case Fate::corrupted: return "corrupted";
    case Fate::truncated: return "truncated";
    }
    return "";
}

DeliveredStream impair(const PacketStream& sent, const Truth& truth, const Impairment& impairment, double byte_s,
                       std::uint64_t seed, std::size_t receiver) {
    DeliveredStream out;
    Random random(seed, receiver == 0 ? "impairment" : "impairment " + std::to_string(receiver));
    const double end_s = sent.packets.empty() ? 0.0 : sent.packets.back().t_end_s;
    const std::vector<Interval> fades = draw_fades(impairment, end_s, random);
    std::vector<std::uint8_t> damaged;
    out.fates.resize(sent.packets.size());
    out.bytes.reserve(sent.bytes.size());
    double last_arrival_s = 0.0;
    std::size_t fade = 0;

    const auto deliver = [&](std::size_t packet, double t_s, std::size_t offset, std::size_t size, bool bad) {
        out.deliveries.push_back({.t_begin_s = t_s, .t_end_s = t_s, .packet = packet, .offset = offset, .size = size});
        damaged.push_back(bad ? 1 : 0);
    };
    for (std::size_t i = 0; i < sent.packets.size(); ++i) {
        const SentPacket& packet = sent.packets[i];
        PacketFate& fate = out.fates[i];
        while (fade < fades.size() && fades[fade].end_s < packet.t_begin_s) ++fade;
        const bool in_fade = fade < fades.size() && packet.t_end_s > fades[fade].begin_s;
        const auto tick = std::min(static_cast<std::size_t>(packet.t_begin_s / kTruthStep_s), truth.samples.size() - 1);
        const bool silent = packet.t_end_s > impairment.silent_from_s && packet.t_begin_s < impairment.silent_until_s;
        if (in_fade || silent || random.chance(range_loss(impairment, truth.samples[tick]))) {
            fate.fate = Fate::lost;
            fate.faded = true;
            continue;
        }
        if (random.chance(impairment.loss)) {
            fate.fate = Fate::lost;
            continue;
        }
        const std::size_t offset = out.bytes.size();
        const auto begin = sent.bytes.begin() + static_cast<std::ptrdiff_t>(packet.offset);
        out.bytes.insert(out.bytes.end(), begin, begin + static_cast<std::ptrdiff_t>(packet.size));
        std::size_t size = packet.size;
        fate.bytes_changed = flip_bits(&out.bytes[offset], size, impairment.bit_error, random);
        if (random.chance(impairment.burst))
            fate.bytes_changed += overwrite_run(&out.bytes[offset], size, impairment.burst_bytes_max, random);
        if (fate.bytes_changed > 0) fate.fate = Fate::corrupted;
        if (random.chance(impairment.truncation)) {
            size = 1 + random.below(packet.size - 1);
            out.bytes.resize(offset + size);
            fate.bytes_cut = static_cast<std::uint32_t>(packet.size - size);
            fate.fate = Fate::truncated;
        }
        fate.delay_s = impairment.delay_s + (impairment.jitter_s > 0.0 ? random.exponential(impairment.jitter_s) : 0.0);
        double arrival_s = std::max(packet.t_begin_s + fate.delay_s, last_arrival_s);
        last_arrival_s = arrival_s;
        if (random.chance(impairment.reorder)) {
            fate.reordered = true;
            arrival_s += random.uniform(0.04, 0.15);
        }
        fate.delay_s = arrival_s - packet.t_begin_s;
        deliver(i, arrival_s, offset, size, fate.fate != Fate::delivered);
        if (random.chance(impairment.duplicate)) {
            fate.duplicated = true;
            const std::size_t copy = out.bytes.size();
            out.bytes.insert(out.bytes.end(), begin, begin + static_cast<std::ptrdiff_t>(packet.size));
            deliver(i, arrival_s + random.uniform(0.01, 0.05), copy, packet.size, false);
        }
    }
    lay_out(out, damaged, byte_s);
    return out;
}

} // namespace turnstone::sim
