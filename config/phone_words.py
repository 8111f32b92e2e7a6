"""What the scripts of a page say; a test says when one of their texts is missing here."""

from config.saying import N_

WORDS = (
    N_("An entry of somebody else"),
    N_("Fetch anew"),
    N_("It is sent already. Strike it where it stands."),
    N_("Keep it here"),
    N_("Kept on this phone. Sending …"),
    N_("Kept on this phone: {title}. It is sent when there is a network."),
    N_("Mend it"),
    N_("Mend this, and send it again: {why}"),
    N_("NOT"),
    N_("NOT SURE"),
    N_(
        "NOT SURE: this list is too old to go by. Look at the wall, or ask the vet. What you "
        "write is kept all the same."
    ),
    N_("No network, and this page is not kept on this phone. What is kept stands below."),
    N_("No network. This page is as at {moment}, {age}."),
    N_("No, keep it"),
    N_("Nothing waits on this phone."),
    N_("Refused."),
    N_("Sent {moment}."),
    N_("TANK"),
    N_("Take it back"),
    N_("Taken back. Nothing is written."),
    N_(
        "The clock of this phone is {minutes} min ahead. Set it right; the times of entries "
        "are corrected when they are sent."
    ),
    N_(
        "The clock of this phone is {minutes} min behind. Set it right; the times of entries "
        "are corrected when they are sent."
    ),
    N_("This browser keeps nothing: forms are sent at once, and need a network."),
    N_(
        "This phone could not keep the entry ({error}). Nothing is saved. Try again, or "
        "write it down."
    ),
    N_("Throw away"),
    N_("Throw it away for good? It is written nowhere else."),
    N_("Yes, throw it away"),
    N_("as at {moment}"),
    N_("as at {moment}, {age}"),
    N_("less than a minute old"),
    N_("nobody knows how old: the clock of this phone was set"),
    N_("not on this phone yet"),
    N_("refused"),
    N_("sign in to send"),
    N_("tried {count} times; the server had a fault"),
    N_("waits for a network"),
    N_("waits for its writer to sign in"),
    N_("waits for “{title}”"),
    N_("{count} entries wait on this phone"),
    N_("{count} entries were refused: look at it"),
    N_("{count} entry waits on this phone"),
    N_("{count} entry was refused: look at it"),
    N_("{count} of them refused"),
    N_("{days} days old"),
    N_("{hours} h {minutes} min old"),
    N_("{minutes} min old"),
    N_("{state}; written {moment}"),
    N_("{title}, {moment} (waits on this phone)"),
)
