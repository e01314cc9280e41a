#pragma once
/// Whether something that was handed to the recorder is in its file, for whoever waits to be told.
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <utility>

namespace turnstone {

/// What is waited for. From any thread.
class Receipt {
  public:
    /// Nothing: not known yet. An empty text: it is in the file, committed. Else why it is not, as a sentence.
    [[nodiscard]] std::optional<std::string> said() const {
        const std::lock_guard lock(mutex_);
        return said_;
    }
    /// The first word counts.
    void say(std::string why_not) {
        const std::lock_guard lock(mutex_);
        if (!said_) said_ = std::move(why_not);
    }

  private:
    mutable std::mutex mutex_;
    std::optional<std::string> said_;
};

/// Goes along with what is handed over. Whoever drops that on the way drops this with it, which says so.
class OwedReceipt {
  public:
    OwedReceipt() = default; ///< nobody waits
    explicit OwedReceipt(std::shared_ptr<Receipt> receipt) : receipt_(std::move(receipt)) {}
    OwedReceipt(OwedReceipt&& other) noexcept = default;
    OwedReceipt& operator=(OwedReceipt&& other) noexcept {
        std::swap(receipt_, other.receipt_);
        return *this;
    }
    ~OwedReceipt() { give("it was dropped on its way to the recording"); }

    /// Empty: it is in the file, committed.
    void give(std::string why_not = "") {
        if (receipt_) std::exchange(receipt_, nullptr)->say(std::move(why_not));
    }

  private:
    std::shared_ptr<Receipt> receipt_;
};

} // namespace turnstone
