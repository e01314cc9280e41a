#pragma once
/// What this station received and the broker does not have yet. Nothing of it is kept here: the recordings hold every
/// chunk with its receive time, and a place in them says how far the broker is. That place outlives the process, so
/// that an outage, a restart and a new recording lose nothing.
///
/// Not thread-safe. Memory: the messages under way.
#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "server/publish/publish_place.hpp"
#include "server/record/read/reader.hpp"
#include "shared/time.hpp"

namespace turnstone {

struct PublishLimits {
    std::int64_t wait_most_ns = 6 * 3600 * kNsPerS; ///< what is older is left out, and counted
    /// What the broker acknowledged so shortly before is sent again: killed, it takes with it what it had not handed
    /// on.
    std::int64_t again_ns = 30 * kNsPerS;
    std::size_t parcel_bytes = 64u << 10;
};

/// For streams and clocks: at random, so that no other is alike.
[[nodiscard]] std::uint64_t drawn_number();

class PublishQueue {
  public:
    /// Goes on where the state file of the folder says; without one begins a new stream. `clock`: see BROKER.md.
    PublishQueue(std::filesystem::path recordings, std::uint64_t clock, PublishLimits limits = {});

    /// The recording that is live from now on.
    void begins(const std::string& id);
    /// Lets go of the file that is being read; it is opened again when it is needed.
    void let_go() noexcept { reader_.reset(); }

    struct Message {
        std::string link;
        std::vector<std::byte> payload; ///< of BROKER.md
    };
    struct Parcel {
        std::uint64_t number;
        std::vector<Message> messages; ///< at least one
    };
    /// What comes next, at station time `now_ns`. Empty: nothing that is in a recording waits.
    [[nodiscard]] std::optional<Parcel> next(std::int64_t now_ns);
    /// The broker has all messages of this parcel.
    void acknowledged(std::uint64_t parcel);
    /// Goes back to the first parcel that the broker does not have, or had so shortly that it may have lost it.
    void send_again(std::int64_t now_ns);

    /// Writes the state file when something has changed.
    [[nodiscard]] Result<void> save();

    /// Station time of the last input before the first that the broker may not have; 0: of none.
    [[nodiscard]] std::int64_t broker_has_until_ns() const noexcept { return first_open().t_last_ns; }
    /// Bytes that were received and will not be published, since this was made: too old, or in a recording that is
    /// gone.
    [[nodiscard]] std::uint64_t bytes_left_out() const noexcept { return bytes_left_out_; }
    [[nodiscard]] std::size_t recordings_gone() const noexcept { return recordings_gone_; }

  private:
    struct Place : PublishPlace {
        std::uint64_t recording = 0; ///< its number, from the first of recordings_ that ever was
    };
    struct Sent {
        std::uint64_t number;
        Place before;
        std::int64_t t_sent_ns;
        bool acknowledged = false;
    };
    [[nodiscard]] const Place& first_open() const noexcept;
    [[nodiscard]] bool is_newest() const noexcept { return at_.recording + 1 == first_number_ + recordings_.size(); }
    /// The reader stands in the recording of `at_`; false: it cannot be read now.
    bool open();
    /// After a pulled plug a recording may have lost its end, and go on otherwise than it was published.
    void find_place_again();
    void go_to_next_recording();
    /// It looks behind holes now and then, and where it looks for the last time.
    [[nodiscard]] Inputs waiting_inputs(std::int64_t now_ns, bool is_last_look);
    /// Moves `at_` behind what fits a parcel; messages of it.
    [[nodiscard]] std::vector<Message> messages_of(const Inputs& inputs, std::int64_t now_ns);
    void forget_sent(std::int64_t now_ns);

    const std::filesystem::path folder_;
    const std::uint64_t clock_;
    const PublishLimits limits_;
    std::deque<std::string> recordings_;
    std::uint64_t first_number_ = 0; ///< of recordings_.front()
    Place at_;
    std::deque<Sent> sent_; ///< in order; the first may be acknowledged
    std::uint64_t parcels_ = 0;
    std::optional<RecordingReader> reader_;
    std::set<std::string> own_links_ = {}; ///< of the reader's recording: names of those that are published
    std::vector<std::string> link_names_ = {};
    std::int64_t t_came_ns_ = 0;   ///< when inputs came last
    std::int64_t t_looked_ns_ = 0; ///< when it was looked last for inputs behind a hole
    std::uint64_t bytes_left_out_ = 0;
    std::size_t recordings_gone_ = 0;
    std::optional<PublishState> saved_;
};

} // namespace turnstone
