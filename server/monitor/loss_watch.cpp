#include "server/monitor/loss_watch.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace turnstone {

namespace {

// Common practice, no source: with half of the packets figures still come every tick; with less than a third lost
// nobody notices.
constexpr double kHeavy = 0.5;
constexpr double kHeavyNoMore = 0.3;
/// A single fade, which ends by itself, is in the figure for up to this long.
constexpr int kHeavyTicks = 50;
/// Of fewer packets the fraction says little.
constexpr double kPacketsLeast = 10;

std::size_t place_of(const Table& table, std::string_view column) {
    const auto found = std::ranges::find(table.columns, column, &Column::name);
    return static_cast<std::size_t>(found - table.columns.begin());
}

} // namespace

LossWatch::LossWatch(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle) {
    for (const LinkSetup& link : setup.links) {
        if (link.vehicle != vehicle) continue;
        const auto table = std::ranges::find(schema.tables, "link/" + link.name, &Table::name);
        if (table == schema.tables.end()) continue;
        links_.push_back({.name = link.name,
                          .table = &*table,
                          .lost = place_of(*table, "lost"),
                          .rate = place_of(*table, "rate_1s")});
    }
}

void LossWatch::see(const Batch& batch, Marks from) {
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k) {
        const RowRecord& row = batch.rows[k];
        for (Link& link : links_) {
            if (link.table->id != row.table) continue;
            const auto numbers = batch.numbers_of(row, *link.table);
            link.seconds[link.at] = {numbers[link.lost] - link.lost_before, numbers[link.rate]};
            link.lost_before = numbers[link.lost];
            link.at = (link.at + 1) % kSeconds;
        }
    }
}

/// Empty: too few packets to say.
std::optional<double> LossWatch::Link::loss(std::size_t newest) const {
    double gone = 0, received = 0;
    for (std::size_t k = 1; k <= newest; ++k) {
        const Second& second = seconds[(at + kSeconds - k) % kSeconds];
        gone += second.lost;
        received += second.received;
    }
    if (received < 1 || gone + received < kPacketsLeast) return std::nullopt;
    return std::max(0.0, gone / (gone + received));
}

std::pair<const LossWatch::Link*, std::optional<double>> LossWatch::least(std::size_t newest) const {
    std::pair<const Link*, std::optional<double>> best;
    for (const Link& link : links_) {
        const auto loss = link.loss(newest);
        if (loss && (!best.second || *loss < *best.second)) best = {&link, loss};
    }
    return best;
}

void LossWatch::judge(std::vector<Condition>& out) {
    const auto [best, loss] = least(kSeconds);
    heavy_ticks_ = loss && *loss >= kHeavy ? heavy_ticks_ + 1 : 0;
    is_heavy_ = loss && (is_heavy_ ? *loss >= kHeavyNoMore : heavy_ticks_ >= kHeavyTicks);
    if (!is_heavy_) return;
    out.push_back({.id = EventId::heavy_loss,
                   .values = {{"loss", *loss},
                              {"over_s", static_cast<double>(kSeconds)},
                              {"link", best->name},
                              {"best_of_several", links_.size() > 1}}});
}

} // namespace turnstone
