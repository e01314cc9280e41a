#include "protocol/decode/named_row.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/decode/decode_numbers.hpp"
#include "shared/constants.hpp"

namespace turnstone {

NamedRow::NamedRow(const Dictionary& dictionary, std::size_t table, std::span<const std::string_view> names)
    : about_(&dictionary.tables[table]), table_(table), numbers_(about_->number_count), texts_(about_->text_count) {
    for (const std::string_view name : names) {
        const auto channel = std::ranges::find(about_->channels, name, &Channel::name);
        channels_.push_back(channel == about_->channels.end() ? nullptr : &*channel);
    }
    clear();
}

void NamedRow::clear() noexcept {
    std::ranges::fill(numbers_, kNaN);
    std::ranges::fill(texts_, std::string_view());
}

void NamedRow::set(std::size_t name, double value) noexcept {
    const Channel* channel = channels_[name];
    if (channel == nullptr || channel->is_text()) return;
    const double engineering = calibrated(channel->field->calibration, value);
    numbers_[channel->place] = std::isfinite(engineering) ? engineering : kNaN;
}

void NamedRow::set(std::size_t name, std::string_view value) noexcept {
    const Channel* channel = channels_[name];
    if (channel != nullptr && channel->is_text()) texts_[channel->place - about_->number_count] = value;
}

DecodedRow NamedRow::row(double time_offset_ms) noexcept {
    std::uint64_t outside = 0;
    for (const Channel& channel : about_->channels) {
        if (channel.is_text() || channel.place >= 64 || !channel.field->valid_range) continue;
        const auto& [least, greatest] = *channel.field->valid_range;
        const double value = numbers_[channel.place];
        if (value < least || value > greatest) outside |= std::uint64_t{1} << channel.place;
    }
    return {table_, time_offset_ms, numbers_, texts_, outside};
}

std::optional<std::size_t> table_named(const Dictionary& dictionary, std::string_view name) noexcept {
    const auto table = std::ranges::find(dictionary.tables, name, &ChannelTable::name);
    if (table == dictionary.tables.end()) return std::nullopt;
    return static_cast<std::size_t>(table - dictionary.tables.begin());
}

} // namespace turnstone
