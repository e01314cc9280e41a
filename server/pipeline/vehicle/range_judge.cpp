#include "server/pipeline/vehicle/range_judge.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "server/pipeline/event_sentences.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone {

RangeJudge::RangeJudge(const Dictionary& dictionary, const Vehicle& vehicle, const Site& site)
    : dictionary_(&dictionary), vehicle_(&vehicle), site_(&site), places_(dictionary.tables.size()),
      kinds_(dictionary.packets.size()) {
    for (std::size_t t = 0; t < places_.size(); ++t)
        for (const Channel& channel : dictionary.tables[t].channels) {
            const int place = static_cast<int>(channel.place);
            if (channel.role == Role::latitude) places_[t].latitude = place;
            if (channel.role == Role::longitude) places_[t].longitude = place;
            if (channel.role == Role::fix_dimensions && !channel.is_text()) places_[t].dimensions = place;
        }
}

double RangeJudge::from_pad_m(const DecodedRow& row) const {
    const Places& at = places_[row.table];
    if (!vehicle_->rocket || at.latitude < 0 || at.longitude < 0) return 0;
    return geodesic(site_->pad, {row.numbers[static_cast<std::size_t>(at.latitude)],
                                 row.numbers[static_cast<std::size_t>(at.longitude)], site_->pad.height_m})
        .distance_m;
}

bool RangeJudge::lacks_fix(const DecodedRow& row) const noexcept {
    const int at = places_[row.table].dimensions;
    return at >= 0 && row.numbers[static_cast<std::size_t>(at)] < 2;
}

std::vector<std::string> RangeJudge::impossible(const DecodedRow& row) const {
    std::vector<std::string> outside;
    std::size_t ranges = 0;
    bool is_far_outside = false;
    for (const Channel& channel : dictionary_->tables[row.table].channels) {
        if (channel.is_text() || channel.place >= 64 || !channel.field->valid_range) continue;
        ++ranges;
        if ((row.out_of_range >> channel.place & 1U) == 0) continue;
        const auto& [least, greatest] = *channel.field->valid_range;
        const double value = row.numbers[channel.place];
        is_far_outside |= std::max(least - value, value - greatest) > greatest - least;
        outside.push_back(channel.title + " " +
                          sentences::with_unit(value, channel.field->unit, channel.field->decimals));
    }
    const double away_m = from_pad_m(row);
    const bool cannot_be = 2 * outside.size() >= ranges && (outside.size() >= 2 || is_far_outside);
    if (away_m > kFarthest_m)
        outside.push_back(fmt::format("fix {:.0f} km from the pad", away_m / 1000));
    else if (!cannot_be)
        outside.clear();
    return outside;
}

bool RangeJudge::take(const DecodedPacket& packet, std::int64_t t_ns) {
    Kind& kind = kinds_[packet.packet];
    if (kind.proven || dictionary_->packets[packet.packet].period_ms == 0) return true;
    std::vector<std::string> said;
    for (const DecodedRow& row : packet.rows) {
        if (lacks_fix(row)) return true;
        if (said = impossible(row); !said.empty()) break;
    }
    if (said.empty()) {
        kind.proven = ++kind.good >= kProvenCount;
        if (kind.proven) kind.said.clear();
        return true;
    }
    kind.good = 0;
    if (kind.bad++ == 0) kind.t_bad_ns = t_ns;
    if (kind.bad >= kUnfitCount && seconds_between(kind.t_bad_ns, t_ns) >= kUnfit_s) kind.said = std::move(said);
    return false;
}

} // namespace turnstone
